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

from model.errors import SwardkeyError

MEANS = """You are about to open swardkey to other machines on this network.
- Anyone with the password can see and change everything: clients, records, photos, the photo model.
- Nothing is encrypted: anyone listening on the network can read all of it, the password too.
- Only do this on your own network, never on that of a client, a shop or a hotel. Ctrl-C stops it.
"""
SHORTEST = 10
MOST_WRONG, SHUT_OUT = 8, 15 * 60  # wrong tries in a row of one machine, and the seconds that it is shut out then
MOST_KNOWN = 1000


class PasswordError(SwardkeyError):
    """A password that will not do. The message says why."""


def ask_password() -> str:
    """Say what letting others in means, and ask for the password: twice, or once in SWARDKEY_PASSWORD.

    Raises PasswordError.
    """
    sys.stderr.write(MEANS)
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

    async def check(self, header: str, machine: str) -> int | None:
        """None where the header holds the password; else the minutes that the machine is shut out, 0 if not yet."""
        wrong, since = self._wrong.get(machine, (0, 0.0))
        left = since + SHUT_OUT - time.monotonic()
        if wrong >= MOST_WRONG and left > 0:
            return max(1, round(left / 60))
        given = _password_in(header)
        if given is not None and hmac.compare_digest(self._hash(given), self._known):
            self._wrong.pop(machine, None)
            return None
        if given is not None:
            while len(self._wrong) >= MOST_KNOWN:
                self._wrong.pop(next(iter(self._wrong)), None)
            self._wrong[machine] = (wrong % MOST_WRONG + 1, time.monotonic())
            await asyncio.sleep(0.5)
        return 0

    def _hash(self, password: str) -> bytes:
        return hmac.new(self._salt, password.encode("utf-8", "surrogatepass"), hashlib.sha256).digest()


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
