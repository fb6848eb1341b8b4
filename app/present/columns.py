"""Tables in the terminal: in columns where every word fits, else each row as lines; no word is ever cut."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

GAP = 2  # blanks between two columns
Rows = Sequence[Sequence[str]]


def print_columns(console: Console, head: Sequence[str], rows: Rows, figures: Collection[int] = ()) -> None:
    """Print a table without rules. ``head`` may be empty; ``figures`` are the columns to align on the right, from 0."""
    widths = widths_of([*([head] if head else []), *rows], console.width)
    if widths is None:
        _print_stacked(console, head, rows)
        return
    table = Table(box=None, pad_edge=False, show_header=bool(head))
    for number, width in enumerate(widths):
        align = "right" if number in figures else "left"
        table.add_column(head[number] if head else "", width=width, overflow="fold", justify=align)  # type: ignore[arg-type]
    for row in rows:
        table.add_row(*map(Text, row))
    console.print(table)


def widths_of(rows: Rows, width: int) -> list[int] | None:
    """The width of each column, in cells, so that no word is cut and all fit into ``width``; None where they cannot.

    >>> widths_of([("a", "one two three"), ("longer", "x")], 80)
    [6, 13]
    >>> widths_of([("a", "one two three"), ("longer", "x")], 16)
    [6, 8]
    >>> widths_of([("a", "one two three"), ("longer", "x")], 12) is None
    True
    """
    columns = list(zip(*rows, strict=True))
    wanted = [max(map(cell_len, column)) for column in columns]
    found = [max(cell_len(word) for cell in column for word in [*cell.split(), ""]) for column in columns]
    spare = width - GAP * (len(columns) - 1) - sum(found)
    if spare < 0:
        return None
    while spare and (short := [n for n in range(len(found)) if found[n] < wanted[n]]):
        for number in short[:spare]:
            found[number] += 1
        spare -= len(short[:spare])
    return found


def _print_stacked(console: Console, head: Sequence[str], rows: Rows) -> None:
    """Each cell on a line of its own behind the name of its column; all but the first of a row indented."""
    for row in rows:
        for number, cell in enumerate(row):
            name = head[number] if head else ""
            if cell:
                console.print(Padding(Text(f"{name}: {cell}" if name else cell), (0, 0, 0, 2 if number else 0)))
