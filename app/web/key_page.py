"""The printed key: for a month or the whole year, as PDF."""

from __future__ import annotations

from datetime import date

from app.web.context import Context
from app.web.frame import Address, Fields, render

ADDRESS = "/key"


def body(context: Context, address: Address) -> str:
    """What the page shows; its form leads to the paper itself."""
    month = address.get("month", str(date.today().month))
    number = int(month) if month in {str(m) for m in range(1, 13)} else None
    return render("key.html", month=number, count=len(context.key.flora.ids))


def act(context: Context, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """There is nothing to press but the form."""
    return address, []
