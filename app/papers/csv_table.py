"""Treatments and findings as CSV for a spreadsheet, in which no cell can start a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import fields

from app.present.record import value_text
from app.records.entries import Current, Product, Reading, Treatment, VisitRecord
from model.csv_file import guarded_within

OWN_TABLES = ("products", "weather", "left_out", "answered", "id", "visit")
FINDING = (
    "visit", "day", "client", "address", "state", "lawn", "species", "status", "probability", "answers",
    "confirmed_by", "confirmed_at",
)  # fmt: skip


def is_number(cell: str) -> bool:
    """Whether a cell is a plain number, which no spreadsheet takes for anything else."""
    try:
        float(cell)
    except ValueError:
        return False
    return cell.strip() == cell and all(c in "0123456789.-" for c in cell)


def as_csv(rows: Iterable[Sequence[str]]) -> bytes:
    """Rows as CSV: UTF-8 with a mark that spreadsheets know, lines as the standard has them."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    for row in rows:
        writer.writerow([cell if is_number(cell) else guarded_within(cell.strip()) for cell in row])
    return out.getvalue().encode("utf-8-sig")


def treatments_csv(treatments: Iterable[Current]) -> bytes:
    """One row a product of a treatment, in the latest version; work without a product has a row too."""
    own = [f.name for f in fields(Treatment) if f.name not in OWN_TABLES]
    of_product = [f.name for f in fields(Product)]
    of_reading = [f.name for f in fields(Reading)]
    head = ["treatment", "visit", *own]
    head += [f"product_{name}" for name in of_product] + [f"start_{name}" for name in of_reading]
    head += ["signed_by", "signed_at", "versions"]
    rows = [head]
    for current in treatments:
        treatment = current.record
        assert isinstance(treatment, Treatment)
        start = treatment.weather[0] if treatment.weather else Reading()
        last = current.chain[-1] if current.chain else None
        for product in treatment.products or (Product(),):
            row = [str(treatment.id), str(treatment.visit), *(plain(getattr(treatment, name)) for name in own)]
            row += [plain(getattr(product, name)) for name in of_product]
            row += [plain(getattr(start, name)) for name in of_reading]
            row += [last.signed_by, last.signed_at, str(len(current.chain))] if last else ["", "", "0"]
            rows.append(row)
    return as_csv(rows)


def plain(value: object) -> str:
    """A value for a spreadsheet: dates and times as ISO 8601 has them."""
    return value.isoformat() if hasattr(value, "isoformat") else value_text(value)


def findings_csv(visits: Iterable[VisitRecord]) -> bytes:
    """One row a finding: where, when, what, how sure, and who confirmed it."""
    rows: list[Sequence[str]] = [FINDING]
    for record in visits:
        site, day = record.site, record.visit.day.isoformat()
        for found in record.findings:
            where = (str(record.visit.id), day, record.client.name, site.address, site.state, site.lawn)
            chance = f"{found.probability:.4f}" if found.probability is not None else ""
            answers = "; ".join(f"{name}: {answer_in_words(answer)}" for name, answer in found.answers.items())
            what = (found.species or "", found.status, chance, answers, found.confirmed_by, found.confirmed_at)
            rows.append((*where, *what))
    return as_csv(rows)


def answer_in_words(answer: object) -> str:
    """An answer as plain text."""
    if isinstance(answer, list | tuple):
        return " and ".join(str(one) for one in answer) or "unsure"
    return value_text(answer)
