"""Records in the terminal: what was kept, what is missing, what was signed, and lists."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from app.commands.json_output import print_json

if TYPE_CHECKING:
    from app.records import Treatment


def plain(value: Any) -> dict[str, Any]:
    """A value as data that JSON can hold."""
    from app.records.serialization import plain as as_data

    return as_data(value)


def say(*lines: str) -> None:
    """Print lines."""
    sys.stdout.write("".join(line + "\n" for line in lines))


def show_added(what: str, entry: Any, as_json: bool, outcome: str = "is kept") -> None:
    """Print that something was kept, and its number."""
    if as_json:
        print_json({what: plain(entry)})
    else:
        say(f"{what.replace('_', '-')} {entry.id} {outcome}")


def show_signed(signed: Any, as_json: bool) -> None:
    """Print what was signed."""
    if as_json:
        print_json({"signed": plain(signed)})
        return
    done = "amended" if signed.amends else "signed"
    line = f"{signed.kind} {signed.record} is {done} by {signed.signed_by}, {signed.signed_at}"
    say(f"{line}; row {signed.sequence}, {signed.sha256[:12]}", *([signed.note] if signed.note else []))


def show_list(what: str, entries: Iterable[Any], as_json: bool) -> None:
    """Print a list, a line each, without what is empty."""
    rows = [plain(entry) for entry in entries]
    if as_json:
        print_json({what: rows})
        return
    for row in rows:
        kind = f"{row['kind']} " if "kind" in row else ""
        rest = [
            f"{name.replace('_', ' ')} {value}" for name, value in row.items() if value and name not in ("id", "kind")
        ]
        say(f"{kind}{row['id']}: {'; '.join(rest)}")
    if not rows:
        say("none")


def show_treatment(kept: Treatment, as_json: bool) -> None:
    """Print that a treatment was kept, and what is still missing."""
    from app.records import missing_fields, prompts

    missing = [lack.text for lack in missing_fields(kept)]
    asked = [lack.text for lack in prompts(kept)]
    if as_json:
        print_json({"treatment": plain(kept), "missing": missing, "if_any": asked})
        return
    say(f"treatment {kept.id} is kept, not signed")
    say(*(f"still missing: {text}" for text in missing))
    say(*(f"if there is any: {text}" for text in asked))
