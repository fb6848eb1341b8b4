"""A sum in words: its figures, the working, and what to check it against."""

from __future__ import annotations

from collections.abc import Iterable

from app.present.block import Block, Paragraph, Section, Table, bullets, capital
from model.mix.result import LABEL_FIRST, Result


def sum_blocks(result: Result, notes: Iterable[str] = ()) -> tuple[Block, ...]:
    """The figures of a sum, its working, and ``notes`` on what was typed."""
    rows = tuple((squared(what), squared(amount)) for what, amount in result.rows)
    return (
        Table(rows, widths=(0.5, 0.5)),
        Section("The working", bullets(map(squared, result.working), "small"), folded=True),
        *(Paragraph((f"Note: {capital(note)}.",)) for note in notes),
        Paragraph((LABEL_FIRST,), "small"),
    )


def sum_on_paper(title: str, result: Result) -> Section:
    """A sum by its name, for a paper on which the sentence on the label stands already."""
    return figures_on_paper(title, result.rows, result.working)


def figures_on_paper(title: str, rows: Iterable[tuple[str, str]], working: Iterable[str]) -> Section:
    """The same, from the figures and the working alone."""
    shown = tuple((squared(what), squared(amount)) for what, amount in rows)
    lines = "; ".join(map(squared, working))
    return Section(title, (Table(shown, widths=(0.25, 0.75), paired=True), Paragraph((f"Working: {lines}.",), "small")))


def squared(text: str) -> str:
    """A figure as it is printed.

    >>> squared("5 L on 120 m2")
    '5 L on 120 m\u00b2'
    """
    return text.replace("m2", "m\u00b2")
