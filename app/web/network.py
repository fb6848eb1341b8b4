"""Letting phones and computers of the same network in: what that means, and the password that it takes."""

from __future__ import annotations

import asyncio
import base64
import binascii
import getpass
import hashlib
import hmac
import os
import secrets
import socket
import sys
import time
from typing import Any

from model.errors import SwardkeyError

WARNING = """You are about to open swardkey to other machines on this network.
- Anyone with the password can see and change everything: clients, records, photos, the photo model.
- Nothing is encrypted: anyone listening on the network can read all of it, the password too.
- Only do this on your own network, never on that of a client, a shop or a hotel. Ctrl-C stops it.
"""
SHORTEST = 10
# Wrong tries of one machine, and of all together, and the seconds after the last one for which they count.
MOST_WRONG, MOST_WRONG_IN_ALL, SHUT_OUT = 8, 100, 15 * 60
MOST_KNOWN = 1000
ALL = ""  # what all machines together are counted under


class PasswordError(SwardkeyError):
    """A password that will not do. The message says why."""


def ask_password() -> str:
    """Say what letting others in means; the password, typed twice or from SWARDKEY_PASSWORD. Raises PasswordError."""
    sys.stderr.write(WARNING)
    given = os.environ.pop("SWARDKEY_PASSWORD", None)
    if given is not None:
        return checked(given)
    if not sys.stdin.isatty():
        raise PasswordError("serving to the network needs a password; run it in a terminal, or set SWARDKEY_PASSWORD")
    found = checked(getpass.getpass(f"A password of at least {SHORTEST} characters: "))
    if getpass.getpass("The same again: ") != found:
        raise PasswordError("the two passwords are not the same; nothing is served")
    return found


def checked(password: str) -> str:
    """A password that is not too easy. Raises PasswordError."""
    if len(password) < SHORTEST or len(set(password)) < 5:
        raise PasswordError(f"the password is too easy; use at least {SHORTEST} characters, not the same few repeated")
    return password


class Password:
    """Knows the password without keeping it, and shuts out who guesses."""

    def __init__(self, password: str) -> None:
        self._salt = secrets.token_bytes(32)
        self._known = self._hash(checked(password))
        self._wrong: dict[str, tuple[int, float]] = {}
        self._let_in: dict[str, None] = {}

    async def check(self, header: str, machine: str) -> int | None:
        """None where the header holds the password; else the minutes that the machine is shut out, 0 if not yet.

        A right password leaves the wrong ones counted. Once all machines together have given too many wrong ones, only
        those that have given the right one before are still let in.
        """
        counted = [self._counted(machine, MOST_WRONG)]
        if machine not in self._let_in:
            counted.append(self._counted(ALL, MOST_WRONG_IN_ALL))
        if any(counted):
            return max(counted)
        given = _password_in(header)
        if given is None:
            return 0
        if hmac.compare_digest(self._hash(given), self._known):
            _remember(self._let_in, machine, None)
            return None
        for name in (machine, ALL):
            wrong, since = self._wrong.pop(name, (0, 0.0))
            again = time.monotonic() - since > SHUT_OUT
            _remember(self._wrong, name, (1 if again else wrong + 1, time.monotonic()))
        await asyncio.sleep(0.5)
        return 0

    def _counted(self, name: str, most: int) -> int:
        """Minutes for which whoever goes by the name is shut out; 0 where it is not."""
        wrong, since = self._wrong.get(name, (0, 0.0))
        left = since + SHUT_OUT - time.monotonic()
        return max(1, round(left / 60)) if wrong >= most and left > 0 else 0

    def _hash(self, password: str) -> bytes:
        return hmac.new(self._salt, password.encode("utf-8", "surrogatepass"), hashlib.sha256).digest()


def _remember(known: dict[str, Any], name: str, value: Any) -> None:
    """Keep a value under a name, the latest last; of too many names the first goes."""
    known.pop(name, None)
    while len(known) >= MOST_KNOWN:
        known.pop(next(iter(known)))
    known[name] = value


def _password_in(header: str) -> str | None:
    """The password in a header of HTTP's basic authentication."""
    kind, _, code = header.partition(" ")
    if kind.lower() != "basic":
        return None
    try:
        return base64.b64decode(code, validate=True).decode("utf-8").partition(":")[2] or None
    except (binascii.Error, UnicodeDecodeError):
        return None


def names_of_this_machine() -> set[str]:
    """Names by which other machines of the network may call this one; addresses are known when they are used."""
    name = socket.gethostname().lower()
    return {name, f"{name}.local", name.split(".")[0]} - {""}


def addresses_of_this_machine() -> list[str]:
    """Addresses by which other machines reach this one; nothing is sent to find them."""
    try:
        found = {str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    except OSError:
        found = set()
    return sorted(address for address in found if not address.startswith("127.")) or [socket.gethostname()]
