"""What leaves the machine is seen whoever sends it, and nothing does."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.security.pages import WALK
from tests.security.shut_in import can_shut_in, sent

pytestmark = pytest.mark.skipif(
    not can_shut_in(), reason="without a network of its own, a report that native code sends goes unseen"
)
# By the C library, so that nothing in Python sees it: a connection, a datagram, and a name that is looked up.
NATIVE = """
import ctypes, socket, struct
libc = ctypes.CDLL(None)
far = struct.pack("=H", socket.AF_INET) + struct.pack("!H4s8x", 443, bytes((192, 0, 2, 1)))
here = struct.pack("=H", socket.AF_INET) + struct.pack("!H4s8x", 53, bytes((127, 0, 0, 1)))
"""
STREAM = "libc.connect(libc.socket(2, 1, 0), far, 16)"
DATAGRAM = "libc.sendto(libc.socket(2, 2, 0), b'x', 1, 0, far, 16)"
NAME_SERVER = "libc.sendto(libc.socket(2, 2, 0), b'x', 1, 0, here, 16)"


@pytest.mark.parametrize(
    ("sends", "seen"),
    [(STREAM, "IpOutNoRoutes"), (DATAGRAM, "IpOutNoRoutes"), (NAME_SERVER, "UdpOutDatagrams"), ("", None)],
)
def test_what_native_code_sends_is_seen(sends: str, seen: str | None) -> None:
    assert sent([sys.executable, "-c", NATIVE + sends]) == ({seen: 1} if seen else {})


@pytest.mark.long
def test_on_the_whole_path_nothing_leaves_the_machine_by_native_code_either(tmp_path: Path) -> None:
    assert sent([sys.executable, "-c", WALK, str(tmp_path)]) == {}
