"""How the pages are served: on this machine only, unless the network is let in; with nothing reported to anyone."""

from __future__ import annotations

import asyncio
import ctypes
import os
import shutil
import socket
import sys
import threading
import warnings
import webbrowser
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from app.services.home import home, why_unsaved
from model.errors import SwardkeyError

if TYPE_CHECKING:
    from fastapi import FastAPI

    from app.web.context import Context
    from app.web.network import Password
    from app.web.uploads import Uploads

# gradio takes settings from the environment: none but these.
SETTINGS = {"GRADIO_ANALYTICS_ENABLED": "False", "GRADIO_RUN_HISTORY": "False", "HF_HUB_OFFLINE": "1"}
THREADS = 12  # enough for all that may go on at once; each more costs memory
ARENA_MAX = -8  # the C library's name for it; without, 8 people at once cost 77 MB more in 3 minutes, and rising
MOST_SESSIONS = 500  # tabs that gradio remembers
CLOSING = 3  # seconds for what is still being answered when the server is stopped


def limit_memory_arenas() -> None:
    """Two places that memory is taken from, where the C library has one for each thread and gives little back."""
    with suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).mallopt(ARENA_MAX, 2)


def set_up_gradio(uploads: Path) -> None:
    """Settings of gradio, before any of it is imported."""
    for name in [name for name in os.environ if name.startswith("GRADIO_")]:
        del os.environ[name]
    os.environ.update(SETTINGS | {"GRADIO_TEMP_DIR": str(uploads)})


def make_app(
    context: Context, folder: Path, password: Password | None = None, started: Callable[[], None] = lambda: None
) -> FastAPI:
    """Our own application: its middleware, photos and papers, and gradio's pages behind them.

    ``folder`` takes the uploads, and goes when the server ends; ``started`` is called once requests are answered.
    """
    import gradio as gr
    from fastapi import FastAPI
    from starlette.middleware import Middleware

    from app.web.files import routes
    from app.web.page import build_page
    from app.web.request_filter import RequestFilter
    from app.web.security_headers import SecurityHeaders
    from app.web.theme import appearance
    from app.web.uploads import LARGEST_FILE, Uploads

    uploads = Uploads(folder)
    if folder.parent != home():
        context.drafts.elsewhere = folder
    blocks = build_page(context, uploads)
    blocks.state_session_capacity = MOST_SESSIONS  # mount_gradio_app has no option for it
    functions = {
        number: frozenset(part.__name__ for part in block.server_fns)
        for number, block in blocks.blocks.items()
        if isinstance(block, gr.HTML)
    }
    calls = {number: len(call.inputs) for number, call in blocks.fns.items()}

    app = FastAPI(
        routes=[*routes(context)],
        lifespan=_lifespan(uploads, started),
        middleware=[
            Middleware(SecurityHeaders),
            Middleware(RequestFilter, uploads=uploads, functions=functions, calls=calls, password=password),
        ],
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
    )
    with warnings.catch_warnings():
        # It warns that several pages are not rendered on the server, which they were not asked to be.
        warnings.simplefilter("ignore", UserWarning)
        mounted: FastAPI = gr.mount_gradio_app(
            app,
            blocks,
            path="/",
            max_file_size=LARGEST_FILE,
            allowed_paths=[],
            show_error=False,
            ssr_mode=False,
            mcp_server=False,
            enable_monitoring=False,
            pwa=False,
            **appearance(),
        )
    return mounted


def _lifespan(uploads: Uploads, started: Callable[[], None]) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """What happens before the first request and after the last one."""
    from anyio import to_thread

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        to_thread.current_default_thread_limiter().total_tokens = THREADS
        started()
        sweeping = asyncio.create_task(uploads.sweep())
        yield
        sweeping.cancel()
        shutil.rmtree(uploads.folder, ignore_errors=True)

    return lifespan


def serve_page(port: int, open_browser: bool = False, password: str | None = None) -> None:
    """Serve until stopped: on loopback, or to the network with a password. Raises SwardkeyError for a taken port."""
    try:
        listening = socket.create_server(("127.0.0.1" if password is None else "0.0.0.0", port))
    except OSError:
        raise SwardkeyError(f"port {port} is taken on this machine; try --port {port + 1}") from None
    # Accepted connections inherit it; asyncio sets it only where the protocol is named, and 40 ms a request are lost.
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    from app.web.uploads import make_upload_folder

    os.umask(0o077)  # what is written from now on is the user's alone
    uploads = make_upload_folder()
    limit_memory_arenas()
    set_up_gradio(uploads)
    import uvicorn

    from app.web.connections import BACKLOG, Connection
    from app.web.context import open_context
    from app.web.network import Password
    from app.web.warm_up import warm_up

    context = open_context()
    context.ready.clear()

    def started() -> None:
        sys.stdout.write(_addresses(port, password is not None))
        sys.stdout.write(f"{why_unsaved()}\n" if why_unsaved() else "")
        sys.stdout.flush()
        # After the first page can be had, and before the first photo comes.
        threading.Thread(target=warm_up, args=(context,), daemon=True).start()
        if open_browser:
            webbrowser.open(f"http://127.0.0.1:{port}")

    app = make_app(context, uploads, Password(password) if password is not None else None, started)
    config = uvicorn.Config(
        app,
        http=Connection,
        backlog=BACKLOG,
        log_level="error",  # a stranger's odd request is no news
        ws="none",  # the pages use none, and their connections would not be counted
        proxy_headers=False,
        server_header=False,
        timeout_graceful_shutdown=CLOSING,
    )
    with suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[listening])
    sys.stdout.write("The pages are closed; what was saved is kept.\n")


def _addresses(port: int, to_network: bool) -> str:
    here = f"The pages: http://127.0.0.1:{port} (Ctrl-C ends them)\n"
    if not to_network:
        return here
    from app.web.network import addresses_of_this_machine

    others = "".join(f"On other machines: http://{address}:{port}\n" for address in addresses_of_this_machine())
    return here + others
