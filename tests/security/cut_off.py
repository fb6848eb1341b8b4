"""Refuses every connection to anywhere but this machine, and notes it: for a process that is to need none."""

from __future__ import annotations

import ipaddress
import sys
from pathlib import Path
from typing import Any

HERE = ("localhost", "127.0.0.1", "::1", "", None, "0.0.0.0", "::")


def is_here(host: object) -> bool:
    """Whether a name or address means this machine."""
    if isinstance(host, bytes):
        host = host.decode("latin-1")
    if host in HERE:
        return True
    try:
        return ipaddress.ip_address(str(host)).is_loopback
    except ValueError:
        return False


def cut_off(notes: Path) -> None:
    """From now on; what was tried is added to ``notes``, a line each."""

    def watch(event: str, told: tuple[Any, ...]) -> None:
        where: object = None
        if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
            address = told[1]
            where = address[0] if isinstance(address, tuple) else None  # a path is of this machine
        elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
            where = told[0][0] if isinstance(told[0], tuple) else told[0]
        else:
            return
        if not is_here(where):
            with notes.open("a", encoding="utf-8") as out:
                out.write(f"{event} {where}\n")
            raise OSError(f"cut off from {where}")

    sys.addaudithook(watch)
