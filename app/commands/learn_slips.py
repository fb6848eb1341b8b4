"""The command `slips`: how often one thing is taken for another by the people whose answers are in the records."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import print_json
from app.services.home import slips_file

if TYPE_CHECKING:
    from collections.abc import Sequence

    from model.identify import Key
    from model.traits.refit import Plant, Rate

SHOWN_FROM = 0.01  # smaller changes of a rate are not told


def slips(
    use: Annotated[bool, typer.Option("--use", help="Use the fitted rates from now on.")] = False,
    drop: Annotated[bool, typer.Option("--drop", help="Go back to the rates that came with the tool.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Learn from confirmed plants how often people take one thing for another, such as a daisy for a dandelion."""
    from model.errors import SwardkeyError

    if use and drop:
        raise SwardkeyError("--use and --drop exclude one another; give one of them")
    if drop:
        was_there = slips_file().exists()
        slips_file().unlink(missing_ok=True)
        told = "the rates that came with the tool are used" + ("" if was_there else ", as they were before")
        print_json({"in_use": False}) if as_json else typer.echo(told)
        return
    from model.traits.refit import fit_mistakes

    key = shipped_key()
    plants = confirmed_plants()
    rates = fit_mistakes(key.likelihoods, plants)
    if use:
        keep(rates, len(plants))
    _print(rates, len(plants), use, as_json)


def shipped_key() -> Key:
    """The key with the rates that came with the tool: what was fitted once is not the start of the next fit."""
    from app.services.knowledge import load_key

    return load_key(fitted=False)


def confirmed_plants() -> list[Plant]:
    """Species and answers of every finding in the records whose name is confirmed, by a person or by the answers."""
    from app.records import open_records
    from model.flora import load_characters
    from model.traits import check_answers

    characters = load_characters()
    found: list[Plant] = []
    with open_records() as records:
        for visit in records.visits():
            for kept in records.current("visit", visit.id).record.findings:  # type: ignore[union-attr]
                if kept.species and kept.answers and (kept.confirmed_by or kept.status == "confirmed"):
                    known = {c: answer for c, answer in kept.answers.items() if c in characters}
                    found.append((kept.species, check_answers(characters, known)))
    return found


def keep(rates: Sequence[Rate], plants: int) -> None:
    """Keep fitted rates for the next start."""
    from dataclasses import asdict

    import yaml

    from model.storage import replace_file

    told = {"plants": plants, "rates": [asdict(rate) for rate in rates]}
    slips_file().parent.mkdir(parents=True, exist_ok=True)
    replace_file(slips_file(), yaml.safe_dump(told, sort_keys=False).encode())


def _print(rates: Sequence[Rate], plants: int, used: bool, as_json: bool) -> None:
    moved = sorted((r for r in rates if abs(r.after - r.before) >= SHOWN_FROM), key=lambda r: -abs(r.after - r.before))
    if as_json:
        rows = [
            {
                "character": r.character,
                "shown": r.shown,
                "named": r.named,
                "before": r.before,
                "after": round(r.after, 4),
            }
            for r in moved
        ]
        print_json({"plants": plants, "in_use": used, "rates": rows})
        return
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    console.print(
        f"{plants} confirmed plants with answers. Of plants that show the first, so many were said to show the second:"
    )
    table = Table(box=None, pad_edge=False)
    for name in ("question", "shows", "taken for", "here", "before"):
        table.add_column(name, justify="right" if name in ("here", "before") else "left")
    for r in moved:
        table.add_row(r.character.replace("_", " "), r.shown, r.named, f"{r.after:.0%}", f"{r.before:.0%}")
    console.print(table if moved else "No rate differs by a hundredth from what came with the tool.")
    console.print(
        "These rates are used from now on; --drop takes them back." if used else "To use them: swardkey slips --use"
    )
