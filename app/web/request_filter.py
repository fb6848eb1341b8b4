"""Which requests are let in: by a name of this machine, from our own pages, to known addresses, of a bearable size.

An address that is not listed here is not there, whatever gradio has behind it.
"""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import AsyncIterator, Iterator, Mapping
from contextlib import AbstractAsyncContextManager, asynccontextmanager, nullcontext
from typing import Any
from urllib.parse import urlsplit

from anyio import CancelScope, to_thread
from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse

from app.web.frame import FormError
from app.web.network import Password, names_of_this_machine
from app.web.security_headers import Scope
from app.web.uploads import Refusal, Uploads

READ = re.compile(
    r"/|/(flora|records|own|training|key)/?|/(theme\.css|favicon\.ico|robots\.txt|manifest\.json|pwa_icon)"
    r"|/(assets|static)/[\w./-]+|/(photo|figure|kept|waiting|collected|paper)/.+"
    r"|/config|/gradio_api/(app_id|info|queue/data)"  # the last line is what gradio_client reads
)
PRESS, CALL, UPLOAD = "/gradio_api/component_server/", "/gradio_api/queue/join", "/gradio_api/upload"
READ_ONLY = ("open_page", "waiting")  # what changes nothing, so that it may be dropped
SESSION = re.compile(r"[a-z0-9-]{1,40}")
LARGEST_MESSAGE = 1_000_000  # bytes of what a button or a client sends
LOOPBACK = {"127.0.0.1", "localhost", "[::1]"}
NOTHING_HERE = "There is nothing at this address."
FOREIGN = "This did not come from a swardkey page."


class RequestFilter:
    """Lets requests in, or answers them itself.

    ``functions``: the server functions of each page, by the number of its component; ``calls``: how many values each
    call of the API takes, by its number; ``password``: only where the network is let in.
    """

    def __init__(
        self,
        app: Any,
        uploads: Uploads,
        functions: Mapping[int, frozenset[str]],
        calls: Mapping[int, int],
        password: Password | None = None,
    ) -> None:
        self.app, self.uploads, self.password = app, uploads, password
        self.functions, self.calls = functions, calls
        self.names = LOOPBACK | (names_of_this_machine() if password else set())

    async def __call__(self, scope: Scope, receive: Any, send: Any) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # the pages use no web sockets
            await send({"type": "websocket.close", "code": 1008})
            return
        try:
            headers = self._headers(scope)
            if self.password is not None:
                await self._check_password(self.password, scope, headers)
            self._check_address(scope)
            self._check_origin(scope, headers)
            wanted: AbstractAsyncContextManager[None] = nullcontext()
            if scope["path"] in (PRESS, CALL):
                body = await self._read_message(scope["path"], headers, receive)
                if json.loads(body).get("fn_name") in READ_ONLY:
                    wanted = _cancel_on_disconnect(receive)
                receive = _replay(body, receive)
            if scope["path"] == UPLOAD:
                await self._take_upload(scope, headers, receive, send)
                return
            async with wanted:
                await self.app(scope, receive, send)
        except Refusal as refused:
            await PlainTextResponse(refused.why, refused.status, refused.headers)(scope, receive, send)

    async def _take_upload(self, scope: Scope, headers: Headers, receive: Any, send: Any) -> None:
        """Let an upload in; what no page takes is cut short before anybody hears where it lies."""
        answer: list[Any] = []

        async def hold(message: Any) -> None:
            answer.append(message)

        with self.uploads.room(headers):
            await self.app(scope, receive, hold)
        said = b"".join(message.get("body", b"") for message in answer)
        await to_thread.run_sync(self.uploads.truncate_unsupported, said)
        for message in answer:
            await send(message)

    def _headers(self, scope: Scope) -> Headers:
        """The headers, without those that would have gradio believe in another server before this one.

        Nothing is compressed either: on one machine that takes longer than it saves.
        """
        unread = (b"x-", b"forwarded", b"accept-encoding")
        scope["headers"] = [(k, v) for k, v in scope["headers"] if not k.startswith(unread)]
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        name = re.sub(r":\d{1,5}$", "", hosts[0].lower()) if len(hosts) == 1 else ""
        arrived = str((scope.get("server") or ("", 0))[0])
        if name not in self.names and not (self.password and name in (arrived, f"[{arrived}]")):
            raise Refusal(
                400, "This machine does not go by that name. Use the address that swardkey printed when it started."
            )
        return headers

    def _check_address(self, scope: Scope) -> None:
        method, path = scope["method"], scope["path"]
        if method not in ("GET", "HEAD", "POST"):
            raise Refusal(405, NOTHING_HERE)
        known = path in (PRESS, CALL, UPLOAD) if method == "POST" else bool(READ.fullmatch(path))
        if not known or "\\" in path or "\0" in path or ".." in path.split("/"):
            raise Refusal(404, NOTHING_HERE)

    def _check_origin(self, scope: Scope, headers: Headers) -> None:
        """Another site may link to a page, but can neither send to it nor take anything out of it."""
        site, origin = headers.get("sec-fetch-site", "none"), headers.get("origin")
        follows_link = scope["method"] == "GET" and headers.get("sec-fetch-mode") == "navigate"
        if site not in ("none", "same-origin") and not follows_link:
            raise Refusal(403, FOREIGN)
        if origin is not None and urlsplit(origin).netloc.lower() != headers["host"].lower():
            raise Refusal(403, FOREIGN)

    async def _check_password(self, password: Password, scope: Scope, headers: Headers) -> None:
        client = str((scope.get("client") or ("", 0))[0])
        if (wait := await password.check(headers.get("authorization", ""), client)) is None:
            return
        if wait:
            raise Refusal(429, f"Too many wrong passwords. Try again in {wait} minutes.")
        challenge = {"www-authenticate": 'Basic realm="swardkey", charset="UTF-8"'}
        raise Refusal(401, "The password is needed; any user name will do.", **challenge)

    async def _read_message(self, path: str, headers: Headers, receive: Any) -> bytes:
        """What a button or a client sends, read whole and checked."""
        body, more = b"", True
        if not headers.get("content-type", "").startswith("application/json"):
            raise Refusal(415, FOREIGN)
        while more:
            message = await receive()
            if message["type"] != "http.request":
                raise Refusal(400, FOREIGN)
            body, more = body + message.get("body", b""), message.get("more_body", False)
            if len(body) > LARGEST_MESSAGE:
                raise Refusal(413, "That is too much for one form; write less.")
        if not self._is_message(path, body):
            raise Refusal(400, FOREIGN)
        return body

    def _is_message(self, path: str, body: bytes) -> bool:
        """Whether gradio can read it: a function that a page has, or a call of the API with all its values."""
        try:
            sent = json.loads(body)
            if not SESSION.fullmatch(sent["session_hash"]):
                return False
            if path == PRESS:
                return "data" in sent and sent["fn_name"] in self.functions.get(sent["component_id"], ())
            values, event = sent["data"], sent.get("event_data")
            whole = type(sent["fn_index"]) is int and isinstance(values, list) and isinstance(event, dict | None)
            if not whole or len(values) != self.calls.get(sent["fn_index"], -1):
                return False
            for file in _file_paths(values):  # gradio would copy any other, and fetch one of the web
                self.uploads.find(file)
            return True
        except (ValueError, TypeError, KeyError, RecursionError, FormError):
            return False


def _replay(body: bytes, receive: Any) -> Any:
    """Hands a message on as it was, and then what comes after it."""
    waiting = [{"type": "http.request", "body": body, "more_body": False}]

    async def again() -> Any:
        return waiting.pop() if waiting else await receive()

    return again


@asynccontextmanager
async def _cancel_on_disconnect(receive: Any) -> AsyncIterator[None]:
    """Leave the line once whoever asked has gone; what has begun goes on to its end."""

    async def leave() -> None:
        if (await receive())["type"] == "http.disconnect":
            answering.cancel()

    with CancelScope() as answering:
        watching = asyncio.create_task(leave())
        try:
            yield
        finally:
            watching.cancel()


def _file_paths(value: Any) -> Iterator[object]:
    """Every path of a file in the values of a call."""
    if isinstance(value, Mapping):
        yield from (value["path"],) if "path" in value else ()
        value = list(value.values())
    for part in value if isinstance(value, list) else ():
        yield from _file_paths(part)
