"""The prepared record book of the demo: configs/demo.yaml, entered as records of the season up to today."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from app.records import (
    Client,
    FollowUp,
    GroupUse,
    KeptFinding,
    KeptPhoto,
    KeptPlan,
    Records,
    Site,
    Treatment,
    Visit,
    open_records,
)
from app.records.serialization import checked, plain
from model.control import Case
from model.flora.load import CONFIGS, read_mapping

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
FINDINGS = CONFIGS / "demo_findings.json"
CASE = ("place", "cover", "stage")  # what a visit adds to the case of its site
LATEST = 3  # days before today on which the last visit was, so that what came after it is past too
EVENING = time(18, 30)  # when the day's records are signed
Data = Mapping[str, Any]


def read_book() -> dict[str, Any]:
    """configs/demo.yaml. Raises FloraError."""
    return read_mapping(CONFIGS / "demo.yaml")


def last_before(today: date, day: str) -> date:
    """The last day of that month and day which is at least LATEST days ago.

    >>> last_before(date(2026, 11, 25), "11-11"), last_before(date(2026, 11, 12), "11-11")
    (datetime.date(2026, 11, 11), datetime.date(2025, 11, 11))
    """
    found = date(today.year, int(day[:2]), int(day[3:]))
    return found if found <= today - timedelta(days=LATEST) else found.replace(year=today.year - 1)


def enter_book(folder: Path, today: date) -> None:
    """Make a record book in ``folder`` with the town's season up to ``today``. Raises RecordsError."""
    book = read_book()
    findings = json.loads(FINDINGS.read_text(encoding="utf-8"))
    clients: dict[str, Client] = {}
    sites: dict[str, Site] = {}
    with open_records(folder) as records:
        for key, fields in book["clients"].items():
            clients[key] = records.add_client(checked(Client, fields))
        for key, fields in book["sites"].items():
            sites[key] = records.add_site(checked(Site, fields | {"client": clients[fields["client"]].id}))
        for use in book["groups_used"]:
            day = last_before(today, use["day"]) - timedelta(days=365)
            records.add_group_use(checked(GroupUse, use | {"site": sites[use["site"]].id, "day": day}))
    season = [
        (last_before(today, visit["day"]), visit, found) for visit, found in zip(book["visits"], findings, strict=True)
    ]
    for day, visit, found in sorted(season, key=lambda one: one[0]):
        with open_records(folder, clock=lambda day=day: datetime.combine(day, EVENING).astimezone()) as records:  # type: ignore[misc]
            _Entry(records, book, visit, sites[visit["site"]], day).write(found, today)
        if "amended" in visit:
            _amend(folder, visit["amended"], book, day)
    with open_records(folder) as records:
        for item in book["follow_ups"]:
            site, due = sites[item["site"]].id, today + timedelta(days=item["days"])
            before = [visit.id for visit in records.visits(site) if visit.day < due]
            records.add_follow_up(FollowUp(site, due, item["what"], before[0] if before else None))


class _Entry:
    """One visit of the season, from its photos to its signatures."""

    def __init__(self, records: Records, book: Data, given: Data, site: Site, day: date) -> None:
        self.records, self.book, self.given, self.site, self.day = records, book, given, site, day
        self.who = book["treatment"]["applicator"]

    def write(self, found: Data, today: date) -> None:
        """Enter the visit; it and its treatment are signed on the evening unless it says otherwise."""
        given, records = self.given, self.records
        visit = records.add_visit(Visit(self.site.id, self.day, self.who, given["purpose"], given.get("notes", "")))
        for photo in given["photos"]:
            records.add_photo(KeptPhoto(visit.id, records.store_photo(SAMPLES / photo), "before"))
        self._finding(visit.id, found)
        if "chosen" in given:
            case = self._case(found["species"])
            records.add_plan(KeptPlan(visit.id, {"case": case.as_json()}, given["chosen"]))
            kept = records.add_treatment(self._treatment(records.new_treatment(visit.id)))
            if "unsigned" not in given:
                records.sign("treatment", kept.id, self.who)
        if "unsigned" not in given:
            records.sign("visit", visit.id, self.who)
        if "look_again" in given:
            due = self.day + timedelta(days=given["look_again"])
            what = f"Look again for {given['treatment']['target'].partition(' (')[0]}"
            follow_up = records.add_follow_up(FollowUp(self.site.id, due, what, visit.id))
            if due <= today:
                records.finish_follow_up(follow_up.id, due)

    def _finding(self, visit: int, found: Data) -> None:
        named = {name: found[name] for name in ("status", "species", "probability")}
        answers = {"answers": self.given["answers"], "visible": self.given["visible"]}
        kept = self.records.add_finding(checked(KeptFinding, {"visit": visit, "finding": found, **named, **answers}))
        if "confirmed" in self.given:
            self.records.confirm_finding(kept.id, self.who)

    def _case(self, species: str) -> Case:
        near: Any = self.site.near
        return Case(
            (species,),
            self.day.month,
            self.site.lawn,
            state=self.site.state,
            near=near,
            used=self.records.groups_used(self.site.id),
            **{name: self.given[name] for name in CASE if name in self.given},
        )

    def _treatment(self, new: Treatment) -> Treatment:
        given, book = self.given["treatment"], self.book
        fields = {**book["treatment"], "method": self.given["chosen"].partition(":")[0], "chemical": False, **given}
        if "products" in given:
            products = [book["product"] | product for product in given["products"]]
            fields |= {"chemical": True, "products": products, **book["spraying"]}
        return checked(Treatment, plain(new) | fields)


def _amend(folder: Path, amended: Data, book: Data, day: date) -> None:
    """Correct the treatment of that day some days later."""
    later = datetime.combine(day + timedelta(days=amended["days"]), EVENING)
    with open_records(folder, clock=later.astimezone) as records:
        (kept,) = (current.record for current in records.treatments() if current.record.day == day)  # type: ignore[union-attr]
        changed = checked(Treatment, plain(kept) | {"finished": amended["finished"]})
        records.amend("treatment", changed.id, changed, book["treatment"]["applicator"], amended["reason"])
