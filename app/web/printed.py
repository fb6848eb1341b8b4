"""The printed key: for a month or the whole year, as PDF."""

from __future__ import annotations

from datetime import date

from app.web.frame import Fields, render
from app.web.shed import Shed

Address = dict[str, str]
ADDRESS = "/key"


def body(shed: Shed, address: Address) -> str:
    """What the page shows; its form leads to the paper itself."""
    month = address.get("month", str(date.today().month))
    number = int(month) if month in {str(m) for m in range(1, 13)} else None
    return render("key.html", month=number, count=len(shed.key.flora.ids))


def act(shed: Shed, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """There is nothing to press but the form."""
    return address, []
