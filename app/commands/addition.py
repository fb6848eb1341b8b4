"""What adding photos to the collection would do, and what it did: as JSON and in the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.commands.terminal import print_table, say
from model.errors import CollectionError
from model.text import counted

if TYPE_CHECKING:
    from training.collection import Intake, Outcome

MOST_NAMES = 2000  # lines of species and names
MOST_SHOWN = 40  # rows of a table in the terminal; --json gives all


def check_outcome(source: Path, outcome: Outcome) -> None:
    """Raises CollectionError where there was nothing to add, or photos are left for another run."""
    refused = len(outcome.refused) + outcome.refused_more
    if outcome.stopped:
        raise CollectionError(f"{outcome.stopped}; {outcome.left} left to fetch: run the same command again later")
    if outcome.added or outcome.known_already:
        return
    if refused:
        first = outcome.refused[0]
        raise CollectionError(f"{source}: nothing was added: {refused} refused, the first {first.file}: {first.why}")
    if not outcome.unknown_names:
        raise CollectionError(f"{source}: holds no photos; name a folder whose folders are named after species")


def addition(plan: Intake, outcome: Outcome | None) -> dict[str, Any]:
    """The object that `collect add --json` prints; without an outcome, of a plan that cannot be carried out."""
    done = outcome or plan
    found = {
        "added": outcome.added if outcome else 0,
        "known_already": done.known_already,
        "refused": [{"file": one.file, "why": one.why} for one in done.refused],
        "refused_more": done.refused_more,
        "unknown_names": list(plan.unknown_names),
        "unknown_photos": dict(plan.unknown_names),
        "near": dict(plan.near),
        "ambiguous": {name: list(candidates) for name, candidates in plan.ambiguous.items()},
        "ambiguous_photos": dict(plan.ambiguous_photos),
        "species": dict(outcome.species) if outcome else {},
        "hosts": dict(plan.hosts),
    }
    return found | ({"left": outcome.left, "notes": list(outcome.notes)} if outcome else {})


def plan_text(plan: Intake) -> str:
    """A plan in words: every species and every name that is refused, and of single files no more than a screen."""
    lines = str(plan).splitlines()
    rest = [line for line in lines if not line.startswith("  refused: ")]
    files = [line for line in lines if line.startswith("  refused: ")]
    more = len(files) - MOST_SHOWN
    said = [f"  and {more} lines more (--json gives all)"] if more > 0 else []
    return "\n".join([*rest[:MOST_NAMES], *files[:MOST_SHOWN], *said])


def print_outcome(outcome: Outcome) -> None:
    """Print what was added, and a table of what was refused."""
    say(f"{counted(outcome.added, 'photo')} added, {outcome.known_already} in the collection already")
    for note in outcome.notes:
        say(note)
    if outcome.refused:
        print_table(("file", "why it was refused"), [(one.file, one.why) for one in outcome.refused[:MOST_SHOWN]])
    if more := len(outcome.refused[MOST_SHOWN:]) + outcome.refused_more:
        say(f"and {more} more")
