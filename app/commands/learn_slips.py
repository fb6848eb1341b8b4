"""The command `slips`: how often one thing is taken for another by the people whose answers are in the records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.terminal import print_lines, print_table
from app.services.slips import drop_slips, fit_slips, use_slips
from model.errors import SwardkeyError

if TYPE_CHECKING:
    from model.traits.refit import Rate

SHOWN_FROM = 0.01  # smaller changes of a rate are left out


def slips(
    use: Annotated[bool, typer.Option("--use", help="Use the fitted rates from now on.")] = False,
    drop: Annotated[bool, typer.Option("--drop", help="Go back to the shipped rates.")] = False,
    as_json: Json = False,
) -> None:
    """Learn from confirmed plants how often people mistake one thing for another, such as a daisy for a dandelion."""
    if use and drop:
        raise SwardkeyError("--use and --drop contradict each other; give one of them")
    if drop:
        before = "" if drop_slips() else ", as they were before"
        answer(as_json, {"in_use": False}, f"the shipped rates are used{before}")
        return
    rates, plants = fit_slips()
    if use:
        use_slips(rates, plants)
    moved = [rate for rate in rates if abs(rate.after - rate.before) >= SHOWN_FROM]
    moved.sort(key=lambda rate: -abs(rate.after - rate.before))
    rows = [
        {"character": r.character, "shown": r.shown, "named": r.named, "before": r.before, "after": round(r.after, 4)}
        for r in moved
    ]
    answer(as_json, {"plants": plants, "in_use": use, "rates": rows}, lambda: print_rates(moved, plants, use))


def print_rates(moved: Sequence[Rate], plants: int, used: bool) -> None:
    """Print the rates that differ from the shipped ones, the largest change first."""
    print_lines(
        f"{plants} confirmed plants with answers. Of plants that show the first, so many were said to show the second:"
    )
    rows = [(r.character.replace("_", " "), r.shown, r.named, f"{r.after:.0%}", f"{r.before:.0%}") for r in moved]
    if rows:
        print_table(("question", "shows", "taken for", "here", "before"), rows, numbers=("here", "before"))
    else:
        print_lines("No rate differs from the shipped one by a hundredth.")
    how = "These rates are used from now on; --drop goes back." if used else "To use them: swardkey slips --use"
    print_lines(how)
