"""How many connections may be open, in all and from one address, and how long each may be silent."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

MOST, MOST_OF_ONE = 200, 64  # connections in all and of one address; a browser has six at most
HEAD = 10.0  # seconds for the whole head of a request
SILENT = 60.0  # seconds without a byte while a form or a file is sent, or in which nothing of an answer is read
TAKEN_IN = 64  # connections that are accepted before the first of them is looked at


class Connection(H11Protocol):
    """One connection. Of too many, the one goes that has owed us its request, or the reading of our answer, longest.

    Where nobody owes anything, it is one of the address that has the most connections.
    """

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._heard = self.loop.time()
        self._patience: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take it in, and make room for it or cut it off where there are too many."""
        super().connection_made(transport)
        self._wait(HEAD)
        everyone = [one for one in self.connections if isinstance(one, Connection)]
        of_one = [one for one in everyone if one.address == self.address]
        if len(of_one) > MOST_OF_ONE:
            self._first_to_go(of_one).cut_off()
        elif len(everyone) > MOST:
            self._first_to_go(everyone).cut_off()

    def _first_to_go(self, among: list[Connection]) -> Connection:
        """Of too many, who owes us most; else one of the address that has most, or this one where no other has more."""
        owing = [one for one in among if one is not self and (one.owes is not None or one.flow.write_paused)]
        if owing:
            return min(owing, key=lambda one: (2 if one.owes is None else one.owes, one._heard))
        count = Counter(one.address for one in among)
        crowd = max(among, key=lambda one: (count[one.address], -one._heard))
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
        self._heard = self.loop.time()
        if self.owes != 0:
            self._wait(SILENT if self.owes else 0)
        elif self._patience is None:
            self._wait(HEAD)

    def pause_writing(self) -> None:
        """Nothing more of an answer goes out: whoever asked for it must read on in time."""
        super().pause_writing()
        self._unread = self.loop.call_later(SILENT, self.cut_off)

    def resume_writing(self) -> None:
        """It was read."""
        super().resume_writing()
        self._read_on()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for it no longer."""
        self._wait(0)
        self._read_on()
        super().connection_lost(exc)

    def cut_off(self) -> None:
        """Close it without a word."""
        self._wait(0)
        self._read_on()
        self.connections.discard(self)
        self.transport.abort()

    def _lose_patience(self) -> None:
        if self.flow.read_paused:  # it is us who do not listen
            self._wait(SILENT)
        else:
            self.cut_off()

    def _read_on(self) -> None:
        if self._unread is not None:
            self._unread.cancel()
            self._unread = None

    def _wait(self, seconds: float) -> None:
        """How long to wait from now on; 0 is for ever."""
        if self._patience is not None:
            self._patience.cancel()
        self._patience = self.loop.call_later(seconds, self._lose_patience) if seconds else None
