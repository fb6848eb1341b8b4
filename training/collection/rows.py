"""A row of the collection's manifest."""

from __future__ import annotations

from dataclasses import astuple, dataclass


@dataclass(frozen=True)
class Row:
    """One row of the collection's manifest.

    ``photo`` is `ab/<sha256>.jpg`; ``species`` an id or `other:<kind>`; ``group`` is "" where
    the photo stands for itself; ``labelled_at`` is UTC; ``action`` is add, relabel or remove.
    """

    photo: str
    species: str
    group: str
    source: str
    creator: str
    licence: str
    labelled_by: str
    labelled_at: str
    action: str
    note: str


def row_cells(row: Row) -> tuple[str, ...]:
    """The cells of a Row, in the order of the columns."""
    return astuple(row)
