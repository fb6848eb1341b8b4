"""What an upload is by its content, whatever its name: a photo, a zip or a table, as some page takes, or none of these.

Its first bytes and the outside of a text are all that is looked at here; whoever takes it in reads it with care.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

LONGEST_TEXT = 1_000_000  # bytes of a table
LEFT = 16  # bytes that stay of what no page takes, so that the page can still say what it was
HEAD = 64  # bytes
PICTURE = re.compile(
    rb"\xff\xd8\xff|\x89PNG\r\n\x1a\n|RIFF.{4}WEBP|.{4}ftyp(he[iv][cxms]|mif[12]|msf1|avi[fs])", re.DOTALL
)
ZIP = re.compile(rb"PK(\x03\x04|\x05\x06)")
CONTROL = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
MARKED_UP = (b"<", b"#!", b"%", b"{\\")  # pages, scripts and documents in text


def is_supported(file: Path) -> bool:
    """Whether some page takes a file of this content. Raises OSError."""
    with file.open("rb") as opened:
        head = opened.read(HEAD)
        if PICTURE.match(head) or ZIP.match(head):
            return True
        text = head + opened.read(LONGEST_TEXT + 1 - len(head))
    first = text.removeprefix(b"\xef\xbb\xbf").lstrip().partition(b"\n")[0]
    is_table = any(separator in first for separator in b",;\t") and not first.startswith(MARKED_UP)
    return is_table and len(text) <= LONGEST_TEXT and not CONTROL.search(text)


def truncate_unsupported(file: Path) -> None:
    """Cut a file short that no page takes."""
    with suppress(OSError):
        if file.stat().st_size > LEFT and not is_supported(file):
            os.truncate(file, LEFT)
