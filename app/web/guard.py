"""What the server answers to whom: this machine only, with headers that keep the page to itself."""

from __future__ import annotations

import traceback
from collections.abc import Awaitable, Callable, Iterator, MutableMapping
from contextlib import contextmanager
from typing import Any

from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from app.home import fault_file
from app.web.frame import Fault, fault
from model.errors import SwardkeyError

Scope = MutableMapping[str, Any]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
HOSTS = ["127.0.0.1", "localhost"]
# gradio makes functions of texts and puts styles into tags, which "unsafe" allows; nothing may come from elsewhere.
HEADERS = {
    "content-security-policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self'; frame-ancestors 'none'; "
        "form-action 'self'; base-uri 'self'; object-src 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "permissions-policy": "geolocation=(), microphone=(), payment=(), usb=()",
}


class Headers:
    """Adds the headers to every answer."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Any, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                own = [(k.encode(), v.encode()) for k, v in HEADERS.items()]
                message["headers"] = [*message.get("headers", []), *own]
            await send(message)

        await self.app(scope, receive, with_headers)


def middleware() -> list[Middleware]:
    """Only names of this machine are answered to, so that no other site can reach in through a name of its own."""
    return [Middleware(Headers), Middleware(TrustedHostMiddleware, allowed_hosts=HOSTS)]


@contextmanager
def in_a_sentence(notices: list[str]) -> Iterator[None]:
    """Whatever goes wrong inside becomes one sentence on the page; a fault of ours is written to a file."""
    try:
        yield
    except SwardkeyError as error:
        notices.append(fault(str(error)))
    except Exception as error:
        file = fault_file()
        file.write_text(traceback.format_exc(), encoding="utf-8")
        told = f"A fault of the program ({type(error).__name__}); nothing is lost. Please send in {file.name}."
        notices.append(Fault(told))
