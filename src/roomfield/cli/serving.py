"""serve: the workbench in the browser, on this computer only."""

from __future__ import annotations

from typing import Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, Record


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(serve)


def serve(
    record: Record = DEFAULT_RECORD,
    port: Annotated[int, typer.Option(help="Port on this computer.", min=1, max=65535)] = 8765,
    host: Annotated[
        str, typer.Option(help="Address to listen on; anything but loopback asks for a code.")
    ] = "127.0.0.1",
    demo: Annotated[bool, typer.Option("--demo", help="With the demo survey.")] = False,
    certificate: Annotated[str, typer.Option(help="Certificate for an encrypted connection, PEM.")] = "",
    key: Annotated[str, typer.Option(help="Key of the certificate, PEM without a password.")] = "",
    phone: Annotated[
        bool, typer.Option("--phone", help="Let a phone beside this computer in, encrypted, by a picture it reads.")
    ] = False,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open a browser.")] = False,
) -> None:
    """Open the workbench in the browser; nothing leaves this computer."""
    from roomfield.web.server import serve as call

    call(
        record,
        host=host,
        port=port,
        demo=demo,
        open_browser=not no_browser,
        certificate=certificate,
        key=key,
        phone=phone,
    )
