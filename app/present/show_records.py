"""Records in the terminal: what was kept, what is missing, what was signed, one record, and lists."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from app.commands.json_output import print_json
from app.commands.terminal import say
from app.present.block import Block, Bullets, Paragraph, Section, bullets
from app.present.finding import day_text, moment_text

if TYPE_CHECKING:
    from app.records import Client, Current, FollowUp, Hit, Records, Site, Treatment, Visit, VisitRecord, Waiting
    from app.records.doubts import Doubt


def plain(value: Any) -> dict[str, Any]:
    """A value as data that JSON can hold."""
    from app.records.serialization import plain as as_data

    return as_data(value)


def show_added(what: str, entry: Any, as_json: bool, outcome: str = "is kept") -> None:
    """Print that something was kept, and its number."""
    if as_json:
        print_json({what: plain(entry)})
    else:
        say(f"{what.replace('_', '-')} {entry.id} {outcome}")


def show_signed(signed: Any, as_json: bool) -> None:
    """Print what was signed."""
    if as_json:
        print_json({"signed": plain(signed)})
        return
    done = "amended" if signed.amends else "signed"
    line = f"{signed.kind} {signed.record} is {done} by {signed.signed_by}, {moment_text(signed.signed_at)}"
    say(f"{line}; row {signed.sequence}, {signed.sha256[:12]}", *([signed.note] if signed.note else []))


def show_list(what: str, entries: Sequence[Any], as_json: bool, line: Callable[[Any], str]) -> None:
    """Print a list, a line each."""
    if as_json:
        print_json({what: [plain(entry) for entry in entries]})
        return
    say(*map(line, entries))
    if not entries:
        say("none")


def show_treatment(kept: Treatment, as_json: bool, questions: Iterable[Doubt] = ()) -> None:
    """Print that a treatment was kept, what is still missing, and what is asked, with the keys to write it under."""
    from app.records import key_of, missing_fields, prompts
    from app.records.doubts import ready_answers

    open_questions = [one for one in questions if not ready_answers(kept).get(one.key)]

    missing, asked = missing_fields(kept), prompts(kept)
    if as_json:
        texts = {"missing": [lack.text for lack in missing], "if_any": [lack.text for lack in asked]}
        texts["missing_fields"] = [key_of(lack.field) for lack in missing]
        texts["asked"] = [one.text for one in open_questions]
        print_json({"treatment": plain(kept), **texts})
        return
    say(f"treatment {kept.id} is kept, not signed")
    say(*(f"still missing: {lack.text} ({key_of(lack.field)})" for lack in missing))
    say(*(f"if there is any: {lack.text} ({key_of(lack.field)})" for lack in asked))
    say(*(f"asked before it is signed: {one.text} (answers: {one.key})" for one in open_questions))


def client_line(client: Client) -> str:
    """A client in a line."""
    return _line(client.id, client.name, client.phone, client.email, client.address, client.notes)


def site_line(site: Site, clients: Mapping[int, str]) -> str:
    """A site in a line, with its client's name."""
    where = ", ".join(filter(None, (site.address, site.state)))
    return _line(site.id, where, clients.get(site.client, ""), *_about(site), site.notes)


def visit_line(visit: Visit) -> str:
    """A visit in a line."""
    return _line(visit.id, day_text(visit.day), visit.who, f"site {visit.site}", visit.purpose, visit.notes)


def hit_line(hit: Hit) -> str:
    """Something that was found, in a line."""
    where = f"site {hit.site}" if hit.site and hit.kind != "site" else ""
    return f"{hit.kind} {_line(hit.id, where, hit.text)}"


def follow_up_line(item: FollowUp) -> str:
    """A follow-up in a line, with what came of it."""
    done = f"done on {day_text(item.done)}" if item.done is not None else f"due on {day_text(item.due)}"
    return _line(item.id, item.what, done, item.outcome)


def print_due(
    overdue: Iterable[FollowUp], coming: Iterable[FollowUp], waiting: Iterable[Waiting], sites: Mapping[int, str]
) -> None:
    """Print what is overdue, what is due soon, and what is still to be signed."""

    def lines(found: Iterable[FollowUp]) -> list[str]:
        return [_line(one.id, day_text(one.due), one.what, sites.get(one.site, f"site {one.site}")) for one in found]

    late, soon = lines(overdue), lines(coming)
    to_sign = [
        f"treatment {one.treatment.id} is not signed{', and late' * one.late}: by {moment_text(one.write_up_by)}"
        for one in waiting
    ]
    say(*(["Due now:", *late] if late else []), *(["In the next two weeks:", *soon] if soon else []), *to_sign)
    if not (late or soon or to_sign):
        say("nothing is due")


def print_record(book: Records, kind: str, number: int) -> None:
    """Print one record for a person. Raises RecordsError where there is none."""
    from app.present.console import print_blocks

    if kind == "client":
        client = book.client(number)
        sites = tuple(site_line(site, {}) for site in book.sites(number))
        title = Paragraph((f"Client {client_line(client)}",), "strong")
        print_blocks((title, Section("Sites", bullets(sites))))
    elif kind == "site":
        print_blocks(_site(book, number))
    elif kind == "visit":
        follow_ups = book.follow_ups(book.visit(number).site, open_only=False)
        own = [follow_up_line(one) for one in follow_ups if one.visit == number]
        print_blocks((*_visit(book.current("visit", number)), Section("Follow-ups", bullets(own))))
    else:
        print_blocks(_treatment(book, number))


def _site(book: Records, number: int) -> tuple[Block, ...]:
    site = book.site(number)
    title = f"Site {site_line(site, {site.client: book.client(site.client).name})}"
    groups = ", ".join(map(str, book.groups_used(number)))
    past = []
    for visit in book.history(number):
        record: Any = visit.visit.record
        done = [f"treatment {one.record.id}" for one in visit.treatments]  # type: ignore[union-attr]
        past.append("; ".join([visit_line(record.visit), *_found(record), *done]))
    used = bullets((f"Groups used here: {groups}.",) if groups else ())
    again = bullets([follow_up_line(one) for one in book.follow_ups(number, open_only=False)])
    return Paragraph((title,), "strong"), *used, Section("Visits", bullets(past)), Section("Follow-ups", again)


def _visit(current: Current) -> tuple[Block, ...]:
    record: Any = current.record
    title = f"Visit {visit_line(record.visit)}"
    about = (f"Client: {record.client.name}", f"Site: {site_line(record.site, {})}", *_found(record))
    photos = (f"{len(record.photos)} photos",) if record.photos else ()
    signed = tuple(
        f"{'Amended' if one.amends else 'Signed'} by {one.signed_by}, {moment_text(one.signed_at)}"
        + (f": {one.reason}" if one.reason else "")
        for one in current.chain
    )
    return Paragraph((title,), "strong"), Bullets((*about, *photos, *(signed or ("not signed",))))


def _treatment(book: Records, number: int) -> tuple[Block, ...]:
    from app.present.record import record_blocks, record_kind, standing
    from app.services.objections import HEADING, against

    current, versions = book.current("treatment", number), book.versions("treatment", number)
    treatment: Any = current.record
    remarks = bullets(tuple(str(remark) for remark in against(book, treatment)))
    title = f"{record_kind(treatment)} {number}, {day_text(treatment.day)}. {standing(current)}."
    return Paragraph((title,), "strong"), *record_blocks(current, versions, [Section(HEADING, remarks)])  # type: ignore[arg-type]


def _found(record: VisitRecord) -> list[str]:
    """What was found and decided on at a visit, in words."""
    from app.services.visit_papers import species_of

    found = []
    for finding in record.findings:
        species = species_of(finding)
        listed = [c for c in finding.finding.get("candidates") or [] if isinstance(c, dict)]
        names = {str(c.get("species")): str(c.get("common_name") or c.get("species")) for c in listed}
        name = names.get(species or "", (species or "").replace("_", " "))
        by = f", confirmed by {finding.confirmed_by}" if finding.confirmed_by else ""
        found.append(f"found: {name or 'no plant'} ({finding.status}{by})")
    return found + [f"decided on: {kept.chosen}" for kept in record.plans if kept.chosen]


def _about(site: Site) -> list[str]:
    lawn = "" if site.lawn in ("", "unknown") else f"{site.lawn.replace('_', ' ')} lawn"
    near = f"near: {', '.join(site.near)}" if site.near else ""
    return [lawn, near, f"{site.area_m2:g} m\u00b2" if site.area_m2 else ""]


def _line(number: int, *parts: str) -> str:
    said = "; ".join(" ".join(part.split()) for part in parts if part)
    return f"{number}: {said}"
