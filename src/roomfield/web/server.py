"""Start the local server: where it listens, who may enter, what is printed."""

from __future__ import annotations

import os
import socket
import ssl
import webbrowser
from dataclasses import replace
from threading import Timer

from roomfield.errors import InputError
from roomfield.web.settings import DEFAULT_PORT, Settings, new_access_code
from roomfield.web.start_key import kept_start_key, page_that_leads_to
from roomfield.workbench.record.backups import Keeper

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

    Raises
    ------
    InputError
        If the port or the address cannot be, or certificate and key do not make a pair.
    """
    settings = settings_for(host, port, certificate, key)
    _refuse_taken(host, port)
    import uvicorn

    from roomfield.web.app import create_app
    from roomfield.web.connections import PatientProtocol
    from roomfield.workbench.first_compile import FirstCompile

    first_compile = FirstCompile()
    app = create_app(store_path, settings, demo=demo, first_compile=first_compile)
    address = f"{'https' if settings.encrypted else 'http'}://{'[' + host + ']' if ':' in host else host}:{port}/"
    print(welcome(settings, address), flush=True)
    if first_compile.start(lambda: print(_COMPILED, flush=True)):
        print(_COMPILING, flush=True)
    if open_browser:
        Timer(0.8, _open_browser, [settings, address]).start()
    keeper = Keeper(app.state.records, lambda sentence: print(f"No backup: {sentence}", flush=True))
    keeper.start()
    uvicorn.run(
        app,
        http=PatientProtocol,
        limit_concurrency=MOST_CONNECTIONS,
        host=host,
        port=port,
        log_level="warning",
        server_header=False,
        ws_max_size=1 << 20,
        ssl_certfile=certificate or None,
        ssl_keyfile=key or None,
    )
    keeper.stop()


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
    return settings if settings.is_loopback else replace(settings, access_code=new_access_code())


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
    head = (
        f"roomfield is at {start_address(settings, address)}  (stop with Ctrl+C)",
        f"One-time code for the other device: {settings.access_code}",
    )
    return "\n".join((*head, *(_ENCRYPTED if settings.encrypted else _OPEN)))
