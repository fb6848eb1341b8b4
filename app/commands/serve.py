"""The command `serve`: the web pages on this machine, or on the network with a password."""

from __future__ import annotations

from typing import Annotated

import typer


def serve(
    port: Annotated[int, typer.Option(help="Port.", min=1024, max=65535)] = 7860,
    open_browser: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    network: Annotated[
        bool, typer.Option("--network", help="Serve to the other machines of this network, with a password.")
    ] = False,
) -> None:
    """Serve the web pages on this machine; with --network on the whole network, with a password. Ctrl-C stops it."""
    # Imported here, so that --help need not load the pages.
    from app.web.network import ask_password
    from app.web.serving import serve_page

    serve_page(port, open_browser, ask_password() if network else None)
