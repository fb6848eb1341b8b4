"""The printed key: for a month or the whole year, as PDF; made beside the page, which says how far it is."""

from __future__ import annotations

from datetime import date

from app.present.finding import day_text, month_name
from app.web.background import Progress, Work
from app.web.context import Context
from app.web.frame import Address, Fields, month_in, month_of, render

ADDRESS = "/key"
work = Work()
_made: dict[tuple[int | None, date], bytes] = {}  # of the species that are on file now, with the day that they bear


def body(context: Context, address: Address) -> str:
    """What the page shows; a paper that is there already is a link."""
    month = month_in(address.get("month", str(date.today().month)))
    return render("key.html", month=month, count=len(context.key.flora.ids), state=work.state)


def pdf(context: Context, month: int | None, progress: Progress = lambda *told: None) -> bytes:
    """The key of a month or the year as PDF; made once, since it takes seconds."""
    made = month, date.today()
    if made not in _made:
        from app.papers.key_sheet import key_paper
        from app.services.knowledge import printed_key

        progress("Dividing the plants.", 0, 0)
        for old in [key for key in _made if key[1] != made[1]]:
            _made.pop(old, None)
        printed = printed_key(month, context.key)
        progress("Laying out the pages.", 0, 0)
        _made[made] = key_paper(*printed, day_text(made[1]))
    return _made[made]


def act(context: Context, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """Make the paper. Raises FormError while another is being made."""
    if do != "make":
        return address, []
    month = month_of(fields)

    def run(progress: Progress) -> dict[str, object]:
        pdf(context, month, progress)
        return {"month": month or 0, "of": f"for {month_name(month)}" if month else "of the whole year"}

    work.start("The key", run)
    return {"month": str(month or 0)}, []
