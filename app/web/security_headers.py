"""The security headers of every response, and the nonce without which no inline script of a page runs."""

from __future__ import annotations

import re
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import PlainTextResponse

from app.web.faults import write_fault
from app.web.theme import our_own

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Send = Callable[[Message], Awaitable[None]]
# gradio compiles js_on_load and the templates of gr.HTML from text, hence 'unsafe-eval', and puts style elements and
# attributes into the page, hence 'unsafe-inline' for styles. Its inline scripts run by the nonce of the one response.
POLICY = (
    "default-src 'none'; script-src 'self' 'nonce-{nonce}' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; frame-ancestors 'none'; "
    "form-action 'self'; base-uri 'self'; object-src 'none'"
)
HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "permissions-policy": "geolocation=(), microphone=(), payment=(), usb=()",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}
SCRIPT_TAG = re.compile(rb"<script(?=[\s>])")


class SecurityHeaders:
    """The outermost middleware: adds the headers, and answers a fault of the program in one sentence."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Any, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        response = _Response(secrets.token_hex(16), send)
        try:
            await self.app(scope, receive, response)
        except ClientDisconnect:  # in the middle of an upload; nobody is there to be told
            return
        except Exception as error:
            if not response.started:
                await PlainTextResponse(write_fault(error), 500)(scope, receive, response)
                return
            # Too late for a sentence, such as where gradio finds no such session.
            if not isinstance(error.__cause__, HTTPException):
                write_fault(error)
            if not response.ended:
                await response({"type": "http.response.body", "body": b""})


class _Response:
    """One response on its way out; an HTML page is held back until it is whole."""

    def __init__(self, nonce: str, send: Send) -> None:
        self.nonce, self.send = nonce, send
        self.started = self.ended = False
        self.head: Message | None = None
        self.page = b""

    async def __call__(self, message: Message) -> None:
        self.ended = message["type"] == "http.response.body" and not message.get("more_body")
        if message["type"] == "http.response.start":
            self.started = True
            headers = MutableHeaders(scope=message)
            headers.update({**HEADERS, "content-security-policy": POLICY.format(nonce=self.nonce)})
            if headers.get("content-type", "").startswith("text/html"):
                self.head = message
                return
        elif self.head is not None:
            self.page += message.get("body", b"")
            if not message.get("more_body"):
                await self._send_page(self.head)
            return
        await self.send(message)

    async def _send_page(self, head: Message) -> None:
        page = SCRIPT_TAG.sub(b'<script nonce="' + self.nonce.encode() + b'"', our_own(self.page))
        if page:  # a HEAD request has none, and keeps the length that it was given
            MutableHeaders(scope=head)["content-length"] = str(len(page))
        await self.send(head)
        await self.send({"type": "http.response.body", "body": page})
