"""The records: what is due, what is not signed yet, the places with their history, and the search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

from app.papers.darwin_core import LICENCES
from app.present.finding import day_text
from app.records import FollowUp, GroupUse, Hit, Records, open_records
from app.web import backups, book_checks
from app.web import visit_page as visit
from app.web.context import Context
from app.web.frame import Address, Fields, FormError, number, one, refuse_unseen, render, row_number, seen, several
from app.web.lawn_page import near_words
from app.web.paper_files import WHOLE
from app.web.treatment_form import read_day
from app.web.visit_page import found_name

ADDRESS = "/records"
LATELY = 14  # days for which the first page shows what was done
PLACE_ROUNDING = (
    ("", "left out"),
    ("0", "rounded to about 100 km"),
    ("1", "rounded to about 10 km"),
    ("2", "rounded to about 1 km"),
    ("3", "rounded to about 100 m"),
)


def body(context: Context, address: Address) -> str:
    """The page of a visit, of a place, or of all."""
    if address.get("backup"):
        return render("backup.html", **backups.show(address))
    if address.get("check"):
        return render("book_check.html", **book_checks.show())
    with open_records() as records:
        if "visit" in address:
            shown = visit.show(context, records, row_number(address["visit"], "visit"), address.get("tried", ""))
            return render("one_visit.html", context=context, v=shown)
        if "site" in address:
            return render("site.html", context=context, **site_of(context, records, _site(address)))
        return render("records.html", context=context, **all_of(context, records, address.get("q", "")))


def all_of(context: Context, records: Records, text: str) -> dict[str, Any]:
    """What the first page of the records shows; with a text, what was found."""
    sites = []
    for client in records.clients():
        for site in records.sites(client.id):
            visits = records.visits(site.id)
            sites.append({"client": client, "site": site, "visits": len(visits), "last": visits[0] if visits else None})
    hits = [_hit(context, records, hit) for hit in (records.search(text) if text else ())]
    return {
        "q": text,
        "whole": WHOLE,
        "licences": [(name, name) for name in LICENCES],
        "places": PLACE_ROUNDING,
        "hits": hits,
        "sites": sites,
        "due": [_due(records, item) for item in records.follow_ups()],
        "done": [_due(records, item) for item in _done_since(records, date.today() - timedelta(days=LATELY))],
        "waiting": [
            {"waiting": w, "site": records.site(records.visit(w.treatment.visit).site)} for w in records.unsigned()
        ],
    }


def _hit(context: Context, records: Records, hit: Hit) -> dict[str, str]:
    """What a search found, in words, and where it leads to."""
    if hit.kind == "client":
        return {"title": records.client(hit.id).name, "of": "Client", "to": f"q={quote(records.client(hit.id).name)}"}
    site = records.site(hit.site) if hit.site else None
    where = site.address if site is not None else ""
    if hit.kind == "site":
        return {"title": where, "of": "Place", "to": f"site={hit.id}"}
    number, what = hit.id, ""
    if hit.kind == "treatment":
        treatment: Any = records.current("treatment", hit.id).record
        number, what = treatment.visit, treatment.method or "Treatment"
    kept: Any = records.current("visit", number).record
    named = ", ".join(found_name(context, finding) for finding in kept.findings)
    of = f"{hit.kind.capitalize()}, {day_text(kept.visit.day)}, {where}"
    return {"title": what or named or kept.visit.purpose or "Visit", "of": of, "to": f"visit={number}"}


def _done_since(records: Records, day: date, site: int | None = None) -> list[FollowUp]:
    """What was looked at on or after a day, the latest first."""
    found = [item for item in records.follow_ups(site, open_only=False) if item.done is not None and item.done >= day]
    return sorted(found, key=lambda item: item.done or day, reverse=True)


def _due(records: Records, item: FollowUp) -> dict[str, Any]:
    site = records.site(item.site)
    return {"item": item, "site": site, "client": records.client(site.client), "late": item.due <= date.today()}


def site_of(context: Context, records: Records, which: int) -> dict[str, Any]:
    """What the page of a place shows."""
    site = records.site(which)
    client = records.client(site.client)
    past = []
    for visited in records.history(which):
        record: Any = visited.visit.record
        names = [found_name(context, finding) for finding in record.findings]
        past.append({"past": visited, "names": names, "photos": [photo.sha256 for photo in record.photos]})
    return {
        "site": site,
        "client": client,
        "seen": seen(site, client),
        "past": past,
        "uses": records.group_uses(which),
        "due": [_due(records, item) for item in records.follow_ups(which)],
        "done": [_due(records, item) for item in _done_since(records, date.min, which)],
        **context.lists,
        "near": near_words(),
        "today": date.today().isoformat(),
    }


def _site(address: Address) -> int:
    return row_number(address.get("site", ""), "site")


def act(context: Context, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """What a button does: where to go, and what to say. Raises SwardkeyError where it cannot be."""
    if address.get("backup"):
        return backups.act(do, which), []
    if do in ("check_book", "forget_check"):
        return book_checks.act(do, fields), []
    if do == "search":
        return ({"q": one(fields, "q")} if one(fields, "q") else {}), []
    if "visit" in address:
        notices, tried = visit.act(context, row_number(address["visit"], "visit"), do, fields, which)
        return {"visit": address["visit"]} | ({"tried": tried} if tried else {}), notices
    with open_records() as records, records.together():
        return address, [_act(records, address, do, fields, which)]


def _act(records: Records, address: Address, do: str, fields: Fields, which: str) -> str:
    """A button on the first page or that of a site; what to say."""
    match do:
        case "done":
            return visit.finish_follow_up(records, fields, which)
        case "undo":
            return visit.reopen_follow_up(records, which)
        case "tell_group":
            return _tell_group(records, address, fields)
        case "change":
            return _change(records, address, fields)
    raise FormError("The records had changed since this page was loaded; it is up to date now.")


def take_files(context: Context, files: Sequence[Path]) -> tuple[Address, list[str]]:
    """A backup from elsewhere; the records take no other files."""
    return backups.take_files(context, files)


def _tell_group(records: Records, address: Address, fields: Fields) -> str:
    group = number(fields, "group", "Group")
    if group is None or group != int(group):
        raise FormError("Group: give its number as on the label, such as 4.")
    records.add_group_use(
        GroupUse(site=_site(address), day=read_day(fields, "day"), group=int(group), note=one(fields, "note"))
    )
    return f"Noted: group {group:g}. The next plan for this site takes it into account."


def _change(records: Records, address: Address, fields: Fields) -> str:
    site = records.site(_site(address))
    client = records.client(site.client)
    refuse_unseen(fields, site, client)
    records.change_site(
        replace(
            site,
            address=one(fields, "address"),
            lawn=one(fields, "lawn") or "unknown",
            state=one(fields, "state"),  # type: ignore[arg-type]  # checked with the site
            near=several(fields, "near"),
            area_m2=number(fields, "area", "Area"),
            notes=one(fields, "notes"),
        )
    )
    records.change_client(
        replace(client, name=one(fields, "client"), phone=one(fields, "phone"), email=one(fields, "email"))
    )
    return "Kept."
