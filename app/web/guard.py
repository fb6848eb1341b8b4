"""What goes with every answer, so that the page keeps to itself; and faults as sentences."""

from __future__ import annotations

import re
import secrets
import traceback
from collections.abc import Awaitable, Callable, Iterator, MutableMapping
from contextlib import contextmanager
from typing import Any

from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse

from app.services.home import fault_file
from app.web.frame import Fault, fault
from model.errors import SwardkeyError

Scope = MutableMapping[str, Any]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
# gradio makes functions of texts and puts styles into tags, which "unsafe" allows; nothing may come from elsewhere,
# and no script runs that stands in the page without the word of this one answer.
POLICY = (
    "default-src 'none'; script-src 'self' 'nonce-{word}' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
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
STRANGE = "This was not sent by a page of swardkey."
HEAD_TAG = re.compile(rb"<head>")
SCRIPT_TAG = re.compile(rb"<script(?=[\s>])")


class Refusal(Exception):  # noqa: N818 - an answer, not a fault
    """Why a request is not let in, and the status that says so."""

    def __init__(self, status: int, why: str, **headers: str) -> None:
        super().__init__(why)
        self.status, self.why, self.headers = status, why, headers


class Guard:
    """Adds the headers to every answer, and to a page what must be there before anything of gradio: ``head``."""

    def __init__(self, app: Any, head: str = "") -> None:
        self.app = app
        self.head = head.encode()

    async def __call__(self, scope: Scope, receive: Any, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        answer = _Answer(self.head, secrets.token_hex(16), send)
        try:
            await self.app(scope, receive, answer)
        except Exception as error:
            if answer.begun:  # too late for a sentence, such as where gradio finds no such tab
                if not isinstance(error.__cause__, HTTPException):
                    _write_fault(error)
                await answer({"type": "http.response.body", "body": b""})
                return
            await PlainTextResponse(_write_fault(error), 500)(scope, receive, answer)


class _Answer:
    """One answer on its way out; a page is held back until it is whole."""

    def __init__(self, head: bytes, word: str, send: Send) -> None:
        self.head, self.word, self.send = head, word, send
        self.start: MutableMapping[str, Any] | None = None
        self.page = b""
        self.begun = False

    async def __call__(self, message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            told = HEADERS | {"content-security-policy": POLICY.format(word=self.word)}
            kept = [(k, v) for k, v in message.get("headers", []) if k.lower().decode("latin-1") not in told]
            message["headers"] = [*kept, *((k.encode(), v.encode()) for k, v in told.items())]
            if dict(kept).get(b"content-type", b"").startswith(b"text/html"):
                self.start = message
                return
        elif self.start is not None and message["type"] == "http.response.body":
            self.page += message.get("body", b"")
            if not message.get("more_body"):
                await self._send_page()
            return
        await self.send(message)

    async def _send_page(self) -> None:
        assert self.start is not None
        page = self.page
        if page:  # none where only the headers were asked for
            page = HEAD_TAG.sub(lambda tag: tag[0] + self.head, page, count=1)
            page = SCRIPT_TAG.sub(b"<script nonce=" + self.word.encode(), page)
            plain = [(k, v) for k, v in self.start["headers"] if k.lower() != b"content-length"]
            self.start["headers"] = [*plain, (b"content-length", str(len(page)).encode())]
        await self.send(self.start)
        await self.send({"type": "http.response.body", "body": page})


@contextmanager
def in_a_sentence(notices: list[str]) -> Iterator[None]:
    """Whatever goes wrong inside becomes one sentence on the page; a fault of ours is written to a file."""
    try:
        yield
    except SwardkeyError as error:
        notices.append(fault(str(error)))
    except Exception as error:
        notices.append(Fault(_write_fault(error)))


def _write_fault(error: Exception) -> str:
    """A fault of ours goes to a file; the sentence that tells of it."""
    file = fault_file()
    file.write_text("".join(traceback.format_exception(error)), encoding="utf-8")
    return f"A fault of the program ({type(error).__name__}); nothing is lost. Please send in {file.name}."
