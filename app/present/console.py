"""Blocks in the terminal."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from app.present import block as blocks
from app.present.columns import print_columns

STYLES = {"body": "", "strong": "bold", "small": "dim"}
MARKS = {"yes": ("YES ", "bold green"), "wait": ("WAIT", "bold yellow"), "no": ("NO  ", "bold red")}
INDENT = 5


def print_blocks(
    parts: Iterable[blocks.Block], references: blocks.References | None = None, console: Console | None = None
) -> None:
    """Print blocks one below the other, then the works that they refer to."""
    # Numbers are not coloured: a rate or a year is not worth more than its sentence.
    console, references = console or Console(highlight=False), references or blocks.References({})
    _print_all(parts, references, console)
    if lines := references.lines():
        console.print("\nReferences", style="bold")
        for line in lines:
            console.print(line, markup=False)


def _print_all(parts: Iterable[blocks.Block], references: blocks.References, console: Console) -> None:
    for block in blocks.shown(parts):
        match block:
            case blocks.Section():
                console.print(f"\n{block.heading}", style="bold", markup=False)
                _print_all(block.blocks, references, console)
            case blocks.Paragraph():
                line = " ".join(references.words(words) for words in block.words)
                console.print(line, style=STYLES[block.look], markup=False)
            case blocks.Bullets():
                for item in block.items:
                    console.print(f"- {references.words(item)}", style=STYLES[block.look], markup=False)
            case blocks.Card():
                _print_card(block, references, console)
            case blocks.Table():
                _print_table(block, console)
            case blocks.Calendar():
                # Only a plan has a year, and only a plan needs the whole advice loaded.
                from model.control.year import spans

                rows = "; ".join(f"{label}: {spans(months)}" for label, _, months in block.rows)
                console.print(f"{block.name}. {rows}.", markup=False)


def _print_card(card: blocks.Card, references: blocks.References, console: Console) -> None:
    mark, style = MARKS[card.mark]
    console.print(Text.assemble((f"\n{mark} ", style), (card.title, "bold")))
    lines = [str(active) for active in card.actives] + [references.words(words) for words in card.do]
    lines += [f"- {references.words(point)}" for point in card.points] + [card.foot]
    console.print(Padding(Text("\n".join(filter(None, lines))), (0, 0, 0, INDENT), expand=False))


def _print_table(block: blocks.Table, console: Console) -> None:
    """A table without the columns that are empty throughout; columns of figures to the right."""
    width = len(block.rows[0]) if block.rows else len(block.head)
    kept = [n for n in range(width) if any(row[n].strip("-") for row in block.rows)]
    figures = [place for place, n in enumerate(kept) if _is_figures(block, n)]
    head = [block.head[n] for n in kept] if block.head else []
    print_columns(console, head, [[row[n] for n in kept] for row in block.rows], figures)


def _is_figures(block: blocks.Table, column: int) -> bool:
    return all(not row[column] or row[column][0] in "-<>0123456789" for row in block.rows)
