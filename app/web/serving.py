"""How the pages are served: on this machine only, unless the network is let in; with nothing reported to anyone."""

from __future__ import annotations

import ctypes
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.routing import Route

from app.services.home import home
from model.errors import SwardkeyError

if TYPE_CHECKING:
    from app.web.context import Context
    from app.web.network import Password

# gradio takes settings from the environment: none but these.
SETTINGS = {
    "GRADIO_ANALYTICS_ENABLED": "False",
    "GRADIO_RUN_HISTORY": "False",  # else the browser keeps all that was typed
    "GRADIO_ANALYTICS_MAX_EVENTS": "1",  # what it notes of each event and adds up again at each
    "GRADIO_ANALYTICS_CACHE_FREQUENCY": "1000000000",
    "HF_HUB_OFFLINE": "1",
}
THREADS = 12  # enough for all that may go on at once; each more costs memory
ARENA_MAX = -8  # the C library's name for it; without, 8 people at once cost 77 MB more in 3 minutes, and rising
MOST_SESSIONS = 500  # tabs that are remembered; those not used the longest must be loaded again


def settle_memory() -> None:
    """Two places that memory is taken from, where the C library has one for each thread and gives little back."""
    with suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).mallopt(ARENA_MAX, 2)


def settle_gradio(uploads: Path) -> None:
    """Settings of gradio, before any of it is imported."""
    for name in [name for name in os.environ if name.startswith("GRADIO_")]:
        del os.environ[name]
    os.environ.update(SETTINGS | {"GRADIO_TEMP_DIR": str(uploads)})


def serve_options(blocks: Any, context: Context, uploads: Path, password: Password | None = None) -> dict[str, Any]:
    """How the pages are launched: nothing shared, nothing reported, no file given away."""
    from app.web.files import routes
    from app.web.gate import Gate
    from app.web.guard import Guard
    from app.web.theme import HEAD, options
    from app.web.uploads import Uploads

    taking = Route("/gradio_api/upload", Uploads(uploads).take, methods=["POST"])
    calls = {number: len(call.inputs) for number, call in blocks.fns.items()}

    @asynccontextmanager
    async def around(app: Any) -> AsyncIterator[None]:
        """Before the first request: around all that gradio puts around itself."""
        app.middleware_stack = Guard(Gate(app.middleware_stack, uploads, calls, password), HEAD)
        yield

    return {
        "server_name": "127.0.0.1" if password is None else "0.0.0.0",
        "share": False,
        "max_file_size": "25mb",
        "allowed_paths": [],
        "show_error": False,
        "quiet": True,
        "ssr_mode": False,
        "mcp_server": False,
        "enable_monitoring": False,
        "strict_cors": True,
        "state_session_capacity": MOST_SESSIONS,
        "max_threads": THREADS,
        "app_kwargs": {
            "lifespan": around,
            "routes": [*routes(context), taking],
            "docs_url": None,
            "redoc_url": None,
        },
        **options(),
    }


def serve_page(port: int, open_browser: bool = False, password: str | None = None) -> None:
    """Serve until stopped: on loopback, or to the whole network with a password.

    Raises SwardkeyError when the port is taken.
    """
    uploads = home() / "uploads"
    uploads.mkdir(parents=True, exist_ok=True)
    # Photos that nobody named: whoever chose them has left.
    shutil.rmtree(uploads / "waiting", ignore_errors=True)
    settle_memory()
    settle_gradio(uploads)
    from app.web.context import open_context
    from app.web.network import Password
    from app.web.page import build_page
    from app.web.warm_up import warm_up

    context = open_context()
    context.ready.clear()
    blocks = build_page(context)
    options = serve_options(blocks, context, uploads, Password(password) if password is not None else None)
    started_in = Path.cwd()
    # gradio hands out files of the folder it is started in: start it in an empty one.
    with tempfile.TemporaryDirectory() as empty:
        os.chdir(empty)
        try:
            blocks.launch(server_port=port, inbrowser=open_browser, prevent_thread_lock=True, **options)
            sys.stdout.write(_told(port, password is not None))
            sys.stdout.flush()
            # After the first page is there, and before the first photo comes.
            threading.Thread(target=warm_up, args=(context,), daemon=True).start()
            blocks.block_thread()
        except OSError:
            raise SwardkeyError(f"port {port} is taken on this machine; try --port {port + 1}") from None
        finally:
            os.chdir(started_in)


def _told(port: int, to_network: bool) -> str:
    here = f"The pages: http://127.0.0.1:{port} (Ctrl-C ends them)\n"
    if not to_network:
        return here
    from app.web.network import addresses_of_this_machine

    others = "".join(f"On other machines: http://{address}:{port}\n" for address in addresses_of_this_machine())
    return here + others
