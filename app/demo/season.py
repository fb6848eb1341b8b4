"""Live through the season of the demo: every visit goes the way of the pages, with the real model, key and plans."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.demo.town import InventedVisit, Town
from app.present.plan import option_key
from app.records import (
    Client,
    FollowUp,
    GroupUse,
    Product,
    Records,
    Site,
    Treatment,
    open_records,
)
from app.web import steps as flow
from app.web.context import Context, open_context
from app.web.draft import Draft, new_id
from app.web.plan_page import made_plan
from app.web.shots import take_in
from model.traits import age

if TYPE_CHECKING:
    from model.control import JudgedOption
    from model.flora import Character

SIDE = 720  # px of a drawn photo
EVENING = time(18, 30)  # when the day's records are signed
WITHOUT_WEATHER = "08:00"  # when hand work begins
A_WHILE = timedelta(days=14)  # between a visit and what is looked at again after it


def live_through(town: Town, today: date, progress: Callable[[int], None] = lambda done: None) -> None:
    """Fill the user's folder, which must be empty, with the town's season up to ``today``."""
    context = open_context()
    with open_records() as records:
        sites = _places(records, town, today)
    season = town.season(today)
    last = max((n for n, (_, visit) in enumerate(season) if visit.weather), default=-1)
    progress(0)
    for number, (day, visit) in enumerate(season):
        _Visit(context, town, visit, sites[visit.site], day).go(today, signed=number != last)
        progress(number + 1)
    with open_records() as records:
        for item in town.follow_ups:
            due = today + timedelta(days=item.days)
            before = [v.id for v in records.visits(sites[item.site].id) if v.day <= due - A_WHILE]
            records.add_follow_up(FollowUp(sites[item.site].id, due, item.what, before[0] if before else None))


def _places(records: Records, town: Town, today: date) -> dict[str, Site]:
    from app.demo.town import last_before

    clients = {key: records.add_client(Client(**client.model_dump())) for key, client in town.clients.items()}
    sites = {
        key: records.add_site(
            Site(
                client=clients[site.client].id,
                address=site.address,
                state=town.state,  # type: ignore[arg-type]  # checked with the site
                lawn=site.lawn,
                near=site.near,
                area_m2=site.area_m2,
                notes=site.notes,
            )
        )
        for key, site in town.sites.items()
    }
    for told in town.told_groups:
        day = last_before(today, told.day) - timedelta(days=365)
        records.tell_group(GroupUse(site=sites[told.site].id, day=day, group=told.group, note=told.note))
    return sites


class _Visit:
    """One visit of the season, from its photos to its signatures."""

    def __init__(self, context: Context, town: Town, told: InventedVisit, site: Site, day: date) -> None:
        self.context = context
        self.town = town
        self.told = told
        self.site = site
        self.day = day
        self.draft = Draft(new_id(), month=day.month)

    def go(self, today: date, signed: bool) -> None:
        """Photos, questions, finding, plan, record; then what was done, the signatures and what is due."""
        self._photograph()
        self._answer()
        option = self._plan()
        site = str(self.site.id)
        who = self.town.contractor.name
        told = {"day": self.day.isoformat(), "site": site, "who": who}
        self._press("keep", **told, purpose=self.told.purpose, notes=self.told.notes)
        shutil.rmtree(self.context.drafts.photos(self.draft.id), ignore_errors=True)
        visit = int(self.draft.record["visit"])
        with open_records(clock=lambda: datetime.combine(self.day, EVENING).astimezone()) as records:
            self._write_up(records, visit, option, signed)
            if option is not None and option.look_again:
                due = self.day + timedelta(days=option.look_again[0])
                kept = records.add_follow_up(FollowUp(self.site.id, due, f"Look again for {self._name()}", visit))
                if due <= today:
                    records.finish_follow_up(kept.id, due)
        self._amend(visit)

    def _name(self) -> str:
        return self.context.name(self.told.species)

    def _press(self, do: str, which: str = "", **fields: str | list[str]) -> None:
        told = {name: [value] if isinstance(value, str) else value for name, value in fields.items()}
        self.draft, _ = flow.act(self.context, self.draft, do, told, which)

    def _photograph(self) -> None:
        from training.drawn import draw
        from training.drawn.samples import GARDEN_FLOWER, garden_flower

        flora = self.context.key.flora.species
        plant = (
            garden_flower(flora) if self.told.plant == GARDEN_FLOWER else flora[self.told.plant or self.told.species]
        )
        with tempfile.TemporaryDirectory(prefix="swardkey-") as folder:
            files = []
            for seed, stage, ground in self.told.photos:
                file = Path(folder) / f"drawn_{plant.id}_{seed}.jpg"
                draw(plant, seed, stage, ground, side=SIDE).save(file, "JPEG", quality=88)
                files.append(str(file))
            self.draft, _ = take_in(self.draft, self.context.drafts.photos(self.draft.id), files)
        self._press("look", month=str(self.day.month))
        if self.draft.step == "candidates":
            self._press("ask")

    def _answer(self) -> None:
        """Tell what can be seen, then answer as a careful person who has a typical plant in the hand."""
        self._press("see", visible=list(self.told.visible))
        for _ in range(self.told.questions):
            question = self.context.finding(self.draft).next_question
            if question is None:
                break
            seen = self._sees(question.character)
            if not seen:
                self._press("unsure", question.character.id)
            elif question.character.kind == "choice":
                self._press("answer", question.character.id, state=seen)
            else:
                self._press("answer", question.character.id, reading=seen)
        self._press("conclude")

    def _sees(self, character: Character) -> str:
        """What is most often seen of the species; "" for a part that it lacks, and for what nobody has described."""
        tables, row = self.context.key.at(age(self.told.visible)).tables, self.context.key.index[self.told.species]
        table = tables[character.id]
        if self.told.shows:
            return self.told.shows.get(character.id, "")
        if not table.known[row] or not table.applicable[row]:
            return ""
        answer = table.answers[int(table.truth[row].argmax())]
        # Nobody reads a ruler to more than two figures.
        return answer if isinstance(answer, str) else f"{float(f'{answer:.2g}'):g}"

    def _plan(self) -> JudgedOption | None:
        """The way that is chosen: the first wanted one that the plan lets, or none."""
        from app.web.finding_page import plan_species

        if not plan_species(self.context, self.draft):
            self._press("to_record")
            return None
        with open_records() as records:
            used = [str(group) for group in records.groups_used(self.site.id)]
        told, site = self.told, self.site
        self._press("onward")
        self._press(
            "make_plan", site=str(site.id), lawn=site.lawn, place=told.place, cover=f"{told.cover:g}",
            month=str(self.day.month), stage=told.stage or "", state=site.state, near=list(site.near), used=used,
        )  # fmt: skip
        options = [option for option in made_plan(self.context, self.draft).options if option.suited == "yes"]
        wanted = [option for method in told.do for option in options if option.method == method]
        if not wanted:
            self._press("to_record")
            return None
        self._press("choose", choice=option_key(wanted[0]))
        if self.draft.step == "spray":
            self._read_weather(wanted[0])
            self._press("to_record")
        return wanted[0]

    def _read_weather(self, option: JudgedOption) -> None:
        weather = self.told.weather
        if weather is not None:
            readings = {"temperature": weather.temperature, "humidity": weather.humidity, "wind": weather.wind}
            texts = {name: f"{value:g}" for name, value in readings.items()}
            active = option.actives[0].name if option.actives else ""
            self._press("weigh", **texts, hour=weather.began, active=active, state=self.site.state)

    def _write_up(self, records: Records, visit: int, option: JudgedOption | None, signed: bool) -> None:
        """What was done, as the person wrote it down; signed where it is not left for later."""
        who = self.town.contractor.name
        record: Any = records.current("visit", visit).record
        for finding in record.findings:
            if self.told.confirmed and finding.species:
                records.confirm_finding(finding.id, who)
        for current in records.treatments(visit=visit):
            assert isinstance(current.record, Treatment) and option is not None
            done = records.change_treatment(self._filled(current.record, option))
            if signed:
                records.sign("treatment", done.id, who)
        if signed:
            records.sign("visit", visit, who)

    def _filled(self, new: Treatment, option: JudgedOption) -> Treatment:
        contractor, told = self.town.contractor, self.told
        began = time.fromisoformat(told.weather.began if told.weather else WITHOUT_WEATHER)
        where = "the weed's patches in the lawn" if told.place == "lawn" else "the joints of the paving"
        done = replace(
            new, started=began, finished=_after(began, told.minutes), applicator=contractor.name,
            applicator_address=contractor.address, applicator_contact=contractor.contact, business=contractor.business,
            business_address=contractor.business_address, business_contact=contractor.business_contact,
            treated_area=f"{where}, about {told.cover:g} per cent of it",
        )  # fmt: skip
        if not option.actives:
            return done
        label = self.town.label
        product = Product(
            name=label.name, label=label.label, approval_number=label.approval_number, batch=label.batch,
            rate=label.rate, total_amount=label.total_amount, actives=" + ".join(a.name for a in option.actives),
            groups=tuple(dict.fromkeys(a.group for a in option.actives)),
        )  # fmt: skip
        weather = tuple(
            replace(one, wind_direction=told.weather.wind_from if told.weather else "") for one in done.weather
        )
        return replace(
            done, products=(product,), weather=weather, gear="hand_spray", equipment="hand sprayer",
            withholding=label.withholding, re_entry=label.re_entry,
        )  # fmt: skip

    def _amend(self, visit: int) -> None:
        told = self.told.amended
        if told is None:
            return
        later = datetime.combine(self.day + timedelta(days=told.days), EVENING)
        with open_records(clock=later.astimezone) as records:
            for current in records.treatments(visit=visit):
                if isinstance(current.record, Treatment) and current.is_signed and current.record.started:
                    changed = replace(current.record, finished=_after(current.record.started, told.minutes))
                    records.amend("treatment", changed.id, changed, self.town.contractor.name, told.reason)


def _after(began: time, minutes: int) -> time:
    return (datetime.combine(date.min, began) + timedelta(minutes=minutes)).time()
