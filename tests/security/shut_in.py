"""Runs a program where no other machine can be reached, and counts what it tried to send, native code included.

``python -m tests.security.shut_in COMMAND...`` runs the command in a network of its own, which has this machine alone,
and prints as JSON what the kernel counted; the exit status is that of the command. Linux only.
"""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import socket
import struct
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
INTO = ("unshare", "--user", "--map-root-user", "--net")  # no right of an administrator is needed
# What a library that reports to its maker takes for a test, and then does not report.
HELD_BACK = ("CI", "GITHUB_ACTIONS", "ORT_DISABLE_TELEMETRY", "XDG_CACHE_HOME", "PYTEST_CURRENT_TEST")
SET_FLAGS, UP = 0x8914, 0x1 | 0x40  # as in net/if.h: up and running
# By the kernel's names: a connection or datagram to anywhere but this machine finds no route, whoever asks for it; to
# look up a name, a datagram goes out even where it is this machine that would answer. The pages need neither.
COUNTED = ("IpOutNoRoutes", "Ip6OutNoRoutes", "UdpOutDatagrams", "Udp6OutDatagrams")


def can_shut_in() -> bool:
    """Whether this system lets a program have a network of its own."""
    if shutil.which(INTO[0]) is None:
        return False
    return subprocess.run([*INTO, "true"], capture_output=True, check=False).returncode == 0


def sent(command: Sequence[str]) -> dict[str, int]:
    """What a command tried to send while shut in, by the names in COUNTED; empty where nothing was.

    Raises CalledProcessError where the command fails.
    """
    there = [*INTO, sys.executable, "-m", __name__, *command]
    environment = {name: value for name, value in os.environ.items() if name not in HELD_BACK}
    done = subprocess.run(there, stdout=subprocess.PIPE, text=True, check=True, cwd=ROOT, env=environment)
    return {name: count for name, count in json.loads(done.stdout).items() if count}


def counts() -> dict[str, int]:
    """What the kernel has counted in the network of this process so far."""
    found = {}
    rows = Path("/proc/net/snmp").read_text(encoding="ascii").splitlines()
    for names, numbers in zip(rows[::2], rows[1::2], strict=True):
        kind, *columns = names.split()
        found |= {kind.rstrip(":") + name: int(n) for name, n in zip(columns, numbers.split()[1:], strict=True)}
    six = Path("/proc/net/snmp6")  # none where this system has no IPv6
    found |= {name: int(n) for name, n in map(str.split, six.read_text().splitlines())} if six.exists() else {}
    return {name: found.get(name, 0) for name in COUNTED}


def main() -> None:
    """Bring up the loopback, run the command, print the counts."""
    with socket.socket() as any_socket:
        fcntl.ioctl(any_socket, SET_FLAGS, struct.pack("16sh14x", b"lo", UP))
    before = counts()
    status = subprocess.run(sys.argv[1:], stdout=sys.stderr, check=False).returncode
    print(json.dumps({name: count - before[name] for name, count in counts().items()}))
    raise SystemExit(status)


if __name__ == "__main__":
    main()
