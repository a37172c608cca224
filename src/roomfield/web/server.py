"""Start the local server: where it listens, who may enter, what is printed."""

from __future__ import annotations

import ssl
import webbrowser
from threading import Timer

from roomfield.errors import InputError
from roomfield.web.settings import DEFAULT_PORT, Settings, new_access_code

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
    import uvicorn

    from roomfield.web.app import create_app
    from roomfield.workbench.first_compile import FirstCompile

    first_compile = FirstCompile()
    app = create_app(store_path, settings, demo=demo, first_compile=first_compile)
    address = f"{'https' if settings.encrypted else 'http'}://{'[' + host + ']' if ':' in host else host}:{port}/"
    print(welcome(settings, address), flush=True)
    if first_compile.start(lambda: print(_COMPILED, flush=True)):
        print(_COMPILING, flush=True)
    if open_browser:
        Timer(0.8, webbrowser.open, [address]).start()
    uvicorn.run(
        app,
        host=host,
        port=port,
        log_level="warning",
        server_header=False,
        ws_max_size=1 << 20,
        ssl_certfile=certificate or None,
        ssl_keyfile=key or None,
    )


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
    encrypted = bool(certificate)
    settings = Settings(host=host, port=port, encrypted=encrypted)
    if settings.is_loopback:
        return settings
    return Settings(host=host, port=port, encrypted=encrypted, access_code=new_access_code())


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
        return f"roomfield is at {address}  (this computer only; stop with Ctrl+C)"
    head = (
        f"roomfield is at {address}  (stop with Ctrl+C)",
        f"One-time code for the other device: {settings.access_code}",
    )
    return "\n".join((*head, *(_ENCRYPTED if settings.encrypted else _OPEN)))
