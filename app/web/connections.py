"""How many connections may be open, in all and from one address, and how long each may be silent."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

MAX_CONNECTIONS, MAX_PER_ADDRESS = 200, 64  # connections in all and of one address; a browser has six at most
HEADER_TIMEOUT = 10.0  # seconds for the whole head of a request
IDLE_TIMEOUT = 60.0  # seconds without a byte while a form or a file is sent, or in which nothing of an answer is read
BACKLOG = 64  # connections that are accepted before the first of them is looked at


class Connection(H11Protocol):
    """One connection. Of too many, the one goes that has owed us its request, or the reading of our answer, longest.

    Where nobody owes anything, it is one of the address that has the most connections.
    """

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._last_heard = self.loop.time()
        self._read_timer: asyncio.TimerHandle | None = None
        self._write_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take it in, and make room for it or cut it off where there are too many."""
        super().connection_made(transport)
        self._set_read_timeout(HEADER_TIMEOUT)
        everyone = [one for one in self.connections if isinstance(one, Connection)]
        of_one = [one for one in everyone if one.address == self.address]
        if len(of_one) > MAX_PER_ADDRESS:
            self._to_evict(of_one).abort()
        elif len(everyone) > MAX_CONNECTIONS:
            self._to_evict(everyone).abort()

    def _to_evict(self, among: list[Connection]) -> Connection:
        """Of too many, who owes us most; else one of the address that has most, or this one where no other has more."""
        owing = [one for one in among if one is not self and (one.owes is not None or one.flow.write_paused)]
        if owing:
            return min(owing, key=lambda one: (2 if one.owes is None else one.owes, one._last_heard))
        count = Counter(one.address for one in among)
        crowd = max(among, key=lambda one: (count[one.address], -one._last_heard))
        return crowd if count[crowd.address] > count[self.address] else self

    @property
    def address(self) -> str:
        """Where it comes from; "" where that is not known."""
        return self.client[0] if self.client else ""

    @property
    def owes(self) -> int | None:
        """What we still wait for: 0 the head of a request, 1 the rest of it, None where it waits for us."""
        return {h11.IDLE: 0, h11.SEND_BODY: 1}.get(self.conn.their_state)

    def data_received(self, data: bytes) -> None:
        """Take bytes in: the head of a request must be whole in time, and what follows must keep coming."""
        super().data_received(data)
        self._last_heard = self.loop.time()
        if self.owes != 0:
            self._set_read_timeout(IDLE_TIMEOUT if self.owes else 0)
        elif self._read_timer is None:
            self._set_read_timeout(HEADER_TIMEOUT)

    def pause_writing(self) -> None:
        """Nothing more of an answer goes out: whoever asked for it must read on in time."""
        super().pause_writing()
        self._write_timer = self.loop.call_later(IDLE_TIMEOUT, self.abort)

    def resume_writing(self) -> None:
        """It was read."""
        super().resume_writing()
        self._stop_write_timer()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for it no longer."""
        self._set_read_timeout(0)
        self._stop_write_timer()
        super().connection_lost(exc)

    def abort(self) -> None:
        """Close it without a word."""
        self._set_read_timeout(0)
        self._stop_write_timer()
        self.connections.discard(self)
        self.transport.abort()

    def _on_read_timeout(self) -> None:
        if self.flow.read_paused:  # it is us who do not listen
            self._set_read_timeout(IDLE_TIMEOUT)
        else:
            self.abort()

    def _stop_write_timer(self) -> None:
        if self._write_timer is not None:
            self._write_timer.cancel()
            self._write_timer = None

    def _set_read_timeout(self, seconds: float) -> None:
        """How long to wait from now on; 0 is for ever."""
        if self._read_timer is not None:
            self._read_timer.cancel()
        self._read_timer = self.loop.call_later(seconds, self._on_read_timeout) if seconds else None
