"""Start the local server: where it listens, who may enter, what is printed."""

from __future__ import annotations

import os
import socket
import ssl
import webbrowser
from dataclasses import replace
from pathlib import Path
from threading import Thread, Timer
from typing import Any

from roomfield.errors import InputError
from roomfield.user_folder import settings_folder
from roomfield.web.phone_certificate import PhoneCertificate, certificate_for, checked_private, own_private_address
from roomfield.web.settings import DEFAULT_PORT, LOOPBACK_HOSTS, Settings, bracketed, new_access_code
from roomfield.web.start_key import kept_start_key, page_that_leads_to
from roomfield.workbench.record import demo_tour
from roomfield.workbench.record.backups import Keeper
from roomfield.workbench.record.survey_list import Records

MOST_CONNECTIONS = 200
EVERY_ADDRESS = frozenset({"", "0.0.0.0", "::", "*"})
_OPEN = (
    "The connection is not encrypted: use a cable or a hot-spot of your own, never a client's network.",
    "For encryption, and for the microphone on the other device, give --certificate and --key.",
)
_COMPILING = "The calculations are being compiled for this computer, once; first answers take up to a minute longer."
_COMPILED = "The calculations are compiled."
_ENCRYPTED = (
    "The connection is encrypted. The other device warns unless it trusts the certificate;",
    "compare its fingerprint before going on.",
)


def serve(
    store_path: str,
    *,
    host: str = "127.0.0.1",
    port: int = DEFAULT_PORT,
    demo: bool = False,
    open_browser: bool = True,
    certificate: str = "",
    key: str = "",
    phone: bool = False,
) -> None:
    """Serve the pages until the process is stopped.

    Parameters
    ----------
    store_path : str
        SQLite file or database URL of the record.
    host : str
        Address to listen on; anything but loopback asks each device for a one-time code.
    port : int
        Port to listen on.
    demo : bool
        True to put the invented demonstration survey into the record if it is not there.
    open_browser : bool
        True to open the page in this computer's browser.
    certificate, key : str
        Files in PEM form for an encrypted connection (TLS); both or none.
    phone : bool
        True to let a phone beside this computer in as well, encrypted by a certificate of this computer's own, at
        ``host`` or, if that is loopback, at the address that this computer has in the house.

    Raises
    ------
    InputError
        If the port or the address cannot be, or certificate and key do not make a pair.
    """
    if phone:
        settings, own = settings_with_phone(host, port, certificate, key)
        host, certificate, key = settings.host, "", ""
        _refuse_taken(settings.phone_host, port)
    else:
        settings, own = settings_for(host, port, certificate, key), None
    _refuse_taken(host, port)
    import uvicorn

    from roomfield.web.app import create_app
    from roomfield.web.connections import PatientProtocol
    from roomfield.workbench.first_compile import FirstCompile

    first_compile = FirstCompile()
    app = create_app(store_path, settings, first_compile=first_compile)
    if demo:
        furnish(app.state.records)
    address = f"{'https' if settings.encrypted else 'http'}://{bracketed(host)}:{port}/"
    print(welcome(settings, address), flush=True)
    if first_compile.start(lambda: print(_COMPILED, flush=True)):
        print(_COMPILING, flush=True)
    if open_browser:
        Timer(0.8, _open_browser, [settings, address]).start()
    keeper = Keeper(app.state.records, lambda sentence: print(f"No backup: {sentence}", flush=True))
    keeper.start()
    shared: dict[str, Any] = {
        "http": PatientProtocol,
        "limit_concurrency": MOST_CONNECTIONS,
        "port": port,
        "log_level": "warning",
        "server_header": False,
        "ws_max_size": 1 << 20,
    }
    beside = None
    if own is not None:
        files: dict[str, Any] = {"ssl_certfile": own.certificate, "ssl_keyfile": own.key}
        beside = uvicorn.Server(uvicorn.Config(app, host=settings.phone_host, lifespan="off", **files, **shared))
        Thread(target=beside.run, name="phone", daemon=True).start()
    uvicorn.run(app, host=host, ssl_certfile=certificate or None, ssl_keyfile=key or None, **shared)
    if beside is not None:
        beside.should_exit = True
    keeper.stop()


def furnish(records: Records) -> None:
    """Put the invented home into the record if it is not there, and say in the terminal how far that is.

    Parameters
    ----------
    records : Records
        The open record.
    """
    told: set[str] = set()

    def say(share: float) -> None:
        tenth = f"{share:.1f}"
        if tenth not in told:
            told.add(tenth)
            print(f"Furnishing the invented home and measuring it: {float(tenth):.0%}", flush=True)

    demo_tour.begin(records, say)


def _open_browser(settings: Settings, address: str) -> None:
    if not settings.start_key:
        webbrowser.open(address)
        return
    page = page_that_leads_to(start_address(settings, address))
    webbrowser.open(page.as_uri())
    Timer(60.0, page.unlink, [True]).start()


def start_address(settings: Settings, address: str) -> str:
    """The address by which this computer's user comes in.

    Parameters
    ----------
    settings : Settings
        Holds the key, if one is asked for.
    address : str
        Where the pages are.
    """
    return f"{address}start?key={settings.start_key}" if settings.start_key else address


def settings_for(host: str, port: int, certificate: str = "", key: str = "") -> Settings:
    """Settings of a server, checked before anything is opened.

    Parameters
    ----------
    host, port, certificate, key
        As in `serve`.

    Raises
    ------
    InputError
        If the port or the address cannot be, or certificate and key do not make a pair.
    """
    if not 0 < port < 65536:
        raise InputError(f"port {port} cannot be; ports run from 1 to 65535.", where="--port")
    if host in EVERY_ADDRESS:
        raise InputError(
            "every address at once is not listened on.",
            where="--host",
            mend="Name the one address of this computer on the cable or hot-spot, such as 192.168.137.1.",
        )
    if certificate or key:
        _refuse_bad_pair(certificate, key)
    from roomfield.web.connections import knows_accounts

    # Where the system says which account asks, nobody is bothered; elsewhere the user's browser brings a key.
    known = knows_accounts()
    settings = Settings(
        host=host,
        port=port,
        encrypted=bool(certificate),
        own_account_only=True,
        start_key="" if known else kept_start_key(),
    )
    if settings.is_loopback:
        return settings
    return replace(settings, access_code=new_access_code(), devices_file=str(_devices_file()))


def settings_with_phone(
    host: str, port: int, certificate: str = "", key: str = ""
) -> tuple[Settings, PhoneCertificate]:
    """Settings of a server that this computer reaches at loopback and a phone at another address, encrypted.

    Parameters
    ----------
    host, port, certificate, key
        As in `serve`.

    Raises
    ------
    InputError
        If there is no address that a phone could reach, or it is no private one.
    """
    if certificate or key:
        raise InputError("--phone brings a certificate of its own.", mend="Leave --certificate and --key away.")
    settings = settings_for("127.0.0.1", port)
    where = own_private_address() if host in LOOPBACK_HOSTS else checked_private(host)
    own = certificate_for(where, settings_folder())
    settings = replace(
        settings,
        phone_host=where,
        fingerprint=own.fingerprint,
        root_fingerprint=own.root_fingerprint,
        root=own.root,
        access_code=new_access_code(),
        devices_file=str(_devices_file()),
    )
    return settings, own


def _devices_file() -> Path:
    return settings_folder() / "devices.json"


def _refuse_taken(host: str, port: int) -> None:
    """Refuse an address that somebody listens on already, or that is none of this computer's."""
    try:
        kind = socket.AF_INET6 if ":" in host else socket.AF_INET
        with socket.create_server((host, port), family=kind):
            return
    except OSError as fault:
        raise InputError(
            f"{host} port {port} cannot be listened on ({os.strerror(fault.errno or 0).lower()}).",
            where="serve",
            mend="Stop the other program, or name another --port or --host.",
        ) from None


def _refuse_bad_pair(certificate: str, key: str) -> None:
    if not (certificate and key):
        raise InputError("a certificate and its key are given together.", mend="Name both files, or none.")
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as fault:
        raise InputError(
            f"certificate and key cannot be used ({fault.strerror or fault}).",
            where=certificate,
            mend="Give two PEM files that belong together, the key without a password.",
        ) from None


def welcome(settings: Settings, address: str) -> str:
    """What is printed when the server starts.

    Parameters
    ----------
    settings : Settings
        Says whether other devices may enter.
    address : str
        Where the pages are.
    """
    if settings.is_loopback:
        shown = start_address(settings, address)
        return f"roomfield is at {shown}  (this account of this computer only; stop with Ctrl+C)"
    if settings.phone_host:
        return "\n".join(
            (
                f"roomfield is at {start_address(settings, address)}  (stop with Ctrl+C)",
                f"For a phone open {address}devices here, and let the phone read the picture there.",
                f"Without a camera: {settings.address_for_others} and the one-time code {settings.access_code}",
                f"The phone warns of the certificate; its SHA-256 is {settings.fingerprint}",
            )
        )
    head = (
        f"roomfield is at {start_address(settings, address)}  (stop with Ctrl+C)",
        f"One-time code for the other device: {settings.access_code}",
    )
    return "\n".join((*head, *(_ENCRYPTED if settings.encrypted else _OPEN)))
