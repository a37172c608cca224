"""Start the local server: where it listens, who may enter, what is printed."""

from __future__ import annotations

import webbrowser
from threading import Timer

from roomfield.errors import InputError
from roomfield.web.settings import DEFAULT_PORT, Settings, new_access_code


def serve(
    store_path: str,
    *,
    host: str = "127.0.0.1",
    port: int = DEFAULT_PORT,
    demo: bool = False,
    open_browser: bool = True,
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

    Raises
    ------
    InputError
        If the port cannot be.
    """
    if not 0 < port < 65536:
        raise InputError(f"port {port} cannot be; ports run from 1 to 65535.", where="--port")
    settings = Settings(host=host, port=port)
    if not settings.is_loopback:
        settings = Settings(host=host, port=port, access_code=new_access_code())
    import uvicorn

    from roomfield.web.app import create_app

    app = create_app(store_path, settings, demo=demo)
    address = f"http://{'[' + host + ']' if ':' in host else host}:{port}/"
    print(welcome(settings, address), flush=True)
    if open_browser:
        Timer(0.8, webbrowser.open, [address]).start()
    uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False, ws_max_size=1 << 20)


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
    return "\n".join(
        (
            f"roomfield is at {address}  (stop with Ctrl+C)",
            f"One-time code for the other device: {settings.access_code}",
            "The connection is not encrypted: use a cable or a hot-spot of your own, never a client's network.",
            "For encryption, and for the microphone on the other device, put a TLS proxy with a certificate of",
            "your own in front and keep this server on loopback.",
        )
    )
