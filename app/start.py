"""The start of the program, which loads the rest: Ctrl-C while it does is one sentence too."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command that was typed."""
    try:
        from app.command_line import main as run
    except KeyboardInterrupt:
        sys.stderr.write("swardkey: stopped; nothing was begun yet\n")
        sys.exit(130)
    run()
