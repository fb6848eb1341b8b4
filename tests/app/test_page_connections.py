"""Connections that say nothing, half of something, or are too many: everybody else is still answered."""

from __future__ import annotations

import asyncio
import select
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest
import uvicorn

from app.web import connections
from app.web.connections import Connection

ASK = b"GET / HTTP/1.1\r\nHost: a\r\n\r\n"
HALF = ASK[:-2]
FORM = b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 9\r\n\r\n"
LONG, LENGTH = ASK.replace(b"GET /", b"GET /long"), 20_000_000
Connect = Callable[[bytes], socket.socket]


class Turn:
    """How far the answers to forms are: each counts itself as begun, then waits to be released."""

    def __init__(self) -> None:
        self.begun, self.released = threading.Semaphore(0), threading.Event()


@pytest.fixture
def turn() -> Turn:
    return Turn()


@pytest.fixture
def connect(turn: Turn) -> Iterator[Connect]:
    """Opens a connection to a server of ours and sends something."""

    async def answer(scope: Any, receive: Any, send: Any) -> None:
        more = True
        while more:
            more = (await receive()).get("more_body", False)
        if scope["method"] == "POST":
            turn.begun.release()
            await asyncio.to_thread(turn.released.wait, 60)
        body = b"o" * LENGTH if scope["path"] == "/long" else b"ok"
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % len(body))]})
        await send({"type": "http.response.body", "body": body})

    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(answer, http=Connection, lifespan="off", log_level="error", timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    with ExitStack() as opened:

        def open_one(sent: bytes) -> socket.socket:
            one = opened.enter_context(socket.create_connection(listening.getsockname(), timeout=60))
            one.sendall(sent)
            return one

        yield open_one
        turn.released.set()
    server.should_exit = True
    thread.join()


def is_answered(one: socket.socket) -> bool:
    """Waits for an answer, the whole of it."""
    came = b""
    while not came.endswith(b"ok") and (more := one.recv(1000)):
        came += more
    return came.startswith(b"HTTP/1.1 200")


def is_cut_off(one: socket.socket) -> bool:
    """Waits until something comes: whether it is the end."""
    try:
        return one.recv(1000) == b""
    except ConnectionError:
        return True


def await_cut_off(among: list[socket.socket], how_many: int) -> None:
    """Waits until so many of them have ended."""
    left = list(among)
    while len(among) - len(left) < how_many:
        ended, _, _ = select.select(left, [], [], 60)
        assert ended and all(map(is_cut_off, ended))
        left = [one for one in left if one not in ended]


@pytest.mark.parametrize("sent", [b"", HALF, FORM])
@pytest.mark.parametrize("limit", ["MAX_CONNECTIONS", "MAX_PER_ADDRESS"])
def test_silent_connections_make_way(
    connect: Connect, monkeypatch: pytest.MonkeyPatch, sent: bytes, limit: str
) -> None:
    monkeypatch.setattr(connections, limit, 6)
    silent = [connect(sent) for _ in range(20)]
    assert is_answered(connect(ASK))
    await_cut_off(silent, 15)


def test_nobody_who_is_being_answered_makes_way(connect: Connect, monkeypatch: pytest.MonkeyPatch, turn: Turn) -> None:
    busy = [connect(FORM + b"123456789") for _ in range(3)]
    assert all(turn.begun.acquire(timeout=60) for _ in busy)
    monkeypatch.setattr(connections, "MAX_CONNECTIONS", 4)
    await_cut_off([connect(HALF) for _ in range(8)], 7)
    turn.released.set()
    assert all(is_answered(one) for one in busy)


@pytest.mark.parametrize(
    ("sent", "limit"), [(b"", "HEADER_TIMEOUT"), (HALF, "HEADER_TIMEOUT"), (FORM + b"1", "IDLE_TIMEOUT")]
)
def test_the_rest_of_a_request_is_not_waited_for_without_end(
    connect: Connect, monkeypatch: pytest.MonkeyPatch, sent: bytes, limit: str
) -> None:
    monkeypatch.setattr(connections, limit, 0.05)
    assert is_cut_off(connect(sent))


def test_a_second_request_may_come_on_the_same_connection(connect: Connect, monkeypatch: pytest.MonkeyPatch) -> None:
    one = connect(ASK)
    assert is_answered(one)
    one.sendall(ASK)
    assert is_answered(one)
    monkeypatch.setattr(connections, "HEADER_TIMEOUT", 0.05)
    one.sendall(HALF)
    assert is_cut_off(one)


def unread(connect: Connect) -> socket.socket:
    """A connection on which a long answer has begun that nobody reads."""
    one = connect(LONG)
    assert one.recv(1)
    return one


def test_an_address_with_many_connections_shuts_out_no_other(
    connect: Connect, monkeypatch: pytest.MonkeyPatch, turn: Turn
) -> None:
    busy = [connect(FORM + b"123456789") for _ in range(4)]
    assert all(turn.begun.acquire(timeout=60) for _ in busy)
    monkeypatch.setattr(connections, "MAX_CONNECTIONS", 4)
    monkeypatch.setattr(connections.Connection, "address", property(lambda one: str(one.client[1] in ports)))
    ports = {one.getsockname()[1] for one in busy}
    assert is_answered(connect(ASK))
    assert is_cut_off(busy[0])


def test_whoever_does_not_read_an_answer_is_not_waited_for_without_end(
    connect: Connect, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "IDLE_TIMEOUT", 0.2)
    one = unread(connect)
    with pytest.raises(ConnectionError):  # what it sends meanwhile is no sign that it reads
        while True:
            one.sendall(ASK)
            time.sleep(0.01)


def test_whoever_does_not_read_an_answer_makes_way(connect: Connect, monkeypatch: pytest.MonkeyPatch) -> None:
    deaf = [unread(connect) for _ in range(3)]
    monkeypatch.setattr(connections, "MAX_CONNECTIONS", 3)
    assert is_answered(connect(ASK))
    deaf[0].close()


def test_a_long_answer_that_is_read_slowly_arrives(connect: Connect, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "IDLE_TIMEOUT", 3)
    one, came = unread(connect), 1
    while more := len(one.recv(1_000_000)):
        came += more
        time.sleep(0.1)
        if came > LENGTH:
            return
    raise AssertionError(f"it ended after {came} bytes")
