"""Fetch photos over http and https, politely, and never from an address inside somebody's network."""

from __future__ import annotations

import ipaddress
import re
import socket
import tempfile
import threading
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx

from training.collection.offer import FetchError, UnreachableError

LARGEST = 25_000_000  # bytes of one photo
PAUSE = 0.2  # seconds between two requests to one host
WAITS = (1.0, 4.0)  # seconds before the second and the third try
LONGEST_WAIT = 60.0  # seconds that a server may ask us to wait
TIMEOUT = 20.0  # seconds without a byte
DEADLINE = 120.0  # seconds for one photo
MOST_REDIRECTS = 5
LONGEST_HOST = 253  # characters
_BUSY = (408, 425, 429, 500, 502, 503, 504)
_HOST = re.compile(rb"[A-Za-z0-9._:-]+")  # a name in its ASCII form, or an IP address
_GLOBAL = ipaddress.ip_network("2000::/3")  # all that is given out of IPv6
_KEPT = tuple(map(ipaddress.ip_network, ("192.0.0.0/24", "192.88.99.0/24")))  # for protocols, given to nobody
_NAT64 = ipaddress.ip_network("64:ff9b::/96")
Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class Fetcher:
    """Fetches one photo at a time.

    ``allowed`` are hosts, as `host` or `host:port`, that may lie on this machine or in a
    private network; all others must have public addresses only. ``pause`` is in seconds.
    ``agreed`` are the hosts that the user was shown; nothing is redirected to any other.
    """

    def __init__(self, allowed: Collection[str] = (), pause: float | None = None) -> None:
        self.allowed = frozenset(host.casefold() for host in allowed)
        self.agreed: set[str] = set()
        self.pause = PAUSE if pause is None else pause
        self._last: dict[str, float] = {}
        self._lines = _Lines()
        # Proxies and certificates of the environment are left out: the address that was checked is the one asked.
        self._client = httpx.Client(
            trust_env=False,
            follow_redirects=False,
            timeout=TIMEOUT,
            headers={"User-Agent": "swardkey (photos for a collection, one at a time)", "Accept-Encoding": "identity"},
        )

    @contextmanager
    def get(self, address: str) -> Iterator[Path]:
        """A photo as a temporary file, deleted afterwards.

        Raises FetchError where it cannot be had, UnreachableError where the server does not answer now.
        """
        with tempfile.TemporaryDirectory(prefix="swardkey-") as folder:
            target = Path(folder) / "photo"
            self._try(address, target)
            yield target

    def _try(self, address: str, target: Path) -> None:
        for wait in (*WAITS, None):
            try:
                self._fetch(address, target)
                return
            except _Busy as busy:
                if wait is None:
                    raise UnreachableError(busy.cause) from None
                time.sleep(min(LONGEST_WAIT, max(wait, busy.asked)))

    def _fetch(self, address: str, target: Path) -> None:
        """One try, over all its redirects, each of which is checked like the first address."""
        deadline = time.monotonic() + DEADLINE
        first = _url_of(address)
        for _ in range(MOST_REDIRECTS + 1):
            url = _url_of(address)
            if url.host != first.host and not _names(url) & (self.agreed | self.allowed):
                raise FetchError(f"is redirected to {url.host}, which you were not asked about; see --allow-host")
            request = self._request(url)
            self._wait_for_turn(url.netloc.decode())
            try:
                with self._lines.cut_at(deadline, url.netloc):
                    response = self._client.send(request, stream=True)
                    try:
                        if not response.is_redirect:
                            self._take(response, target)
                            # One without a length ends, it seems, where it was cut.
                            _check_time(deadline)
                            return
                        address = str(url.join(response.headers.get("location", "")))
                    finally:
                        response.close()
            except (httpx.InvalidURL, ValueError):
                raise FetchError("is redirected to an invalid address") from None
            except httpx.TransportError as error:
                _check_time(deadline)
                raise _Busy(f"the server does not answer ({type(error).__name__})") from None
        raise FetchError(f"is redirected more than {MOST_REDIRECTS} times")

    def _request(self, url: httpx.URL) -> httpx.Request:
        """A request to the address that was checked, so that no second look-up of the name can change it."""
        place = self._place(url)
        return self._client.build_request(
            "GET",
            url.copy_with(host=place, fragment=None),
            headers={"Host": url.netloc.decode()},
            extensions={"sni_hostname": url.host, "trace": self._lines.note},
        )

    def _place(self, url: httpx.URL) -> str:
        """The first address of a host, after all of them have been checked."""
        port = url.port or (443 if url.scheme == "https" else 80)
        try:
            found = socket.getaddrinfo(url.host, port, type=socket.SOCK_STREAM)
        except (OSError, UnicodeError):
            raise _Busy(f"no address is known for {url.host}") from None
        places = [str(entry[4][0]) for entry in found]
        if not _names(url) & self.allowed:
            for place in places:
                if not is_public(place):
                    raise FetchError(f"{url.host} is an address of this machine or a private network; see --allow-host")
        return places[0].split("%")[0]

    def _take(self, response: httpx.Response, target: Path) -> None:
        status = response.status_code
        if status in _BUSY:
            asked = response.headers.get("retry-after", "")
            raise _Busy(f"the server answers {status}", float(asked) if asked.isdecimal() else 0.0)
        if status != 200:
            raise FetchError(f"the server answers {status}")
        kind = response.headers.get("content-type", "").split(";")[0].strip().casefold()
        if not kind.startswith("image/"):
            raise FetchError(f"is {kind or 'of an unstated type'}, not an image")
        if response.headers.get("content-encoding", "identity").casefold() != "identity":
            raise FetchError("comes packed, which was not asked for")
        stated = response.headers.get("content-length", "")
        size = int(stated) if stated.isdecimal() else 0
        with target.open("wb") as out:
            done = 0
            for chunk in response.iter_raw():
                done += len(chunk)
                if max(done, size) > LARGEST:
                    raise FetchError(f"is over {LARGEST // 1_000_000} MB")
                out.write(chunk)

    def _wait_for_turn(self, host: str) -> None:
        left = self._last.get(host, -1e9) + self.pause - time.monotonic()
        if left > 0:
            time.sleep(left)
        self._last[host] = time.monotonic()


class _Lines:
    """The connections that are open. One that is too slow is cut, whether it is still being made, or sends a byte
    now and then: the client itself only minds how long nothing comes.
    """

    def __init__(self) -> None:
        self._open: dict[bytes, socket.socket] = {}
        self._now = b""
        self._raw: socket.socket | None = None

    @contextmanager
    def cut_at(self, deadline: float, host: bytes) -> Iterator[None]:
        """What is done inside is cut off at a time of the monotonic clock."""
        self._now = host
        timer = threading.Timer(max(0.0, deadline - time.monotonic()), self._cut)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()
            self._let_go()

    def note(self, event: str, info: dict[str, Any]) -> None:
        """What the client says of its connections."""
        if event in ("connection.connect_tcp.complete", "connection.start_tls.complete"):
            line = info["return_value"].get_extra_info("socket")
            self._let_go()
            if event == "connection.connect_tcp.complete":
                self._raw = line.dup()  # the line itself goes over into the encrypted one
            self._open[self._now] = line

    def _let_go(self) -> None:
        raw, self._raw = self._raw, None
        if raw is not None:
            raw.close()

    def _cut(self) -> None:
        for line in (self._raw, self._open.get(self._now)):
            if line is not None:
                with suppress(OSError):
                    line.shutdown(socket.SHUT_RDWR)


class _Busy(Exception):  # noqa: N818 - never leaves this module
    def __init__(self, cause: str, asked: float = 0.0) -> None:
        super().__init__(cause)
        self.cause, self.asked = cause, asked


def _check_time(deadline: float) -> None:
    if time.monotonic() >= deadline:
        raise UnreachableError(f"takes over {DEADLINE:.0f} seconds") from None


def _url_of(address: str) -> httpx.URL:
    try:
        url = httpx.URL(address.strip())
        host = url.host  # a name in its ASCII form may turn out to be none
    except (httpx.InvalidURL, ValueError, TypeError):
        raise FetchError("is not a valid address") from None
    if url.scheme not in ("http", "https"):
        raise FetchError(f"is not an http or https address but {url.scheme or 'has no scheme'}")
    if not _HOST.fullmatch(url.raw_host) or len(host) > LONGEST_HOST or url.userinfo:
        raise FetchError("names no host, or a user with it")
    return url


def _names(url: httpx.URL) -> set[str]:
    """A host as a user may name it, with its port and without."""
    host = url.host.casefold()
    return {host, f"{host}:{url.port or (443 if url.scheme == 'https' else 80)}"}


def is_public(place: str) -> bool:
    """Whether an IP address is one of the public internet, also when it is wrapped in an IPv6 one.

    >>> is_public("8.8.8.8"), is_public("10.0.0.1"), is_public("::ffff:127.0.0.1"), is_public("64:ff9b::7f00:1")
    (True, False, False, False)
    """
    found: Address = ipaddress.ip_address(place.split("%")[0])
    if isinstance(found, ipaddress.IPv6Address):
        inner = [found.ipv4_mapped, found.sixtofour, *(found.teredo or ())]
        if found in _NAT64:
            inner.append(ipaddress.IPv4Address(int(found) & 0xFFFFFFFF))
        if any(one is not None and not is_public(str(one)) for one in inner):
            return False
        if found.ipv4_mapped is not None:
            return True
        if found not in _GLOBAL and found not in _NAT64:
            return False
    if any(found in network for network in _KEPT):
        return False
    return found.is_global and not found.is_multicast
