"""The record book as the pages and papers use it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from PIL import Image

from app.papers.follow_ups import calendar_file
from app.records import (
    Client,
    FollowUp,
    GroupUse,
    KeptPhoto,
    KeptPlan,
    Product,
    Reading,
    Records,
    RecordsError,
    Site,
    Treatment,
    Visit,
    VisitRecord,
    keep_until,
    open_records,
)
from app.records import search as words_module
from app.records.database import FILE
from model.text import day_text
from tests.app.record_book import DAY, Kept, book, keep_some, photo


@pytest.fixture
def records() -> Iterator[Records]:
    with open_records() as records:
        yield records


@pytest.fixture
def kept(records: Records) -> Kept:
    return keep_some(records)


def test_every_connection_keeps_what_a_power_cut_would_take() -> None:
    for _ in range(2):  # made, and opened again
        with open_records() as records:
            found = [
                records.database.read(f"PRAGMA {name}")[0][0]
                for name in ("journal_mode", "synchronous", "foreign_keys")
            ]
            assert found == ["wal", 2, 1]
            assert records.database.read("PRAGMA busy_timeout")[0][0] == 5000


def test_what_is_kept_comes_back_as_it_was() -> None:
    with open_records() as records:
        kept = keep_some(records)
    with open_records() as records:
        assert records.site(kept.site) == Site(1, "1 Low Street", "VIC", "couch", ("pets",), id=kept.site)
        assert records.treatment_row(kept.treatment.id) == kept.treatment
        found = records.current("visit", kept.visit)
        assert isinstance(found.record, VisitRecord) and not found.is_signed
        assert found.record.findings[0].answers == {"sap": "clear"}
        assert found.record.client.phone == "0000"


def test_a_rate_stays_exactly_as_typed_and_delta_t_is_worked_out(records: Records, kept: Kept) -> None:
    treatment = records.treatment_row(kept.treatment.id)
    assert treatment.products[0].rate == "1.50 mL/L"
    # FOSS relative humidity table at 20 C: 5 C of depression near 60 per cent (67 is 4, 52 is 6).
    assert treatment.weather[0].delta_t == pytest.approx(5.0, abs=0.4)


def test_a_new_treatment_brings_people_and_places_but_never_product_or_rate(records: Records, kept: Kept) -> None:
    signed = replace(kept.treatment, business="Own business", licence="L1", applicator="Kim")
    records.change_treatment(signed)
    fresh = records.new_treatment(kept.visit)
    other = records.add_visit(Visit(site=kept.site, day=DAY, who="Lee"))
    of_other = records.new_treatment(other.id)
    assert (fresh.business, fresh.licence, fresh.client, fresh.address) == (
        "Own business",
        "L1",
        "A. Wattle",
        "1 Low Street",
    )
    assert fresh.products == () and fresh.weather == ()
    assert (of_other.applicator, of_other.licence, of_other.business) == ("Lee", "", "Own business")


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (Client(name=""), "name"),
        (Client(name="\ud800"), "name"),
        (Site(client=99, address="x"), "no client 99"),
        (Site(client=1, address="x", state="Atlantis"), "state"),  # type: ignore[arg-type]
        (Site(client=1, address="x", latitude=200.0), "latitude"),
        (Site(client=1, address="x", area_m2=float("nan")), "area_m2"),
        (Visit(site=99, day=DAY), "no site 99"),
        (Treatment(visit=99, day=DAY), "no visit 99"),
        (Treatment(visit=1, day=DAY, weather=(Reading(humidity=400),)), "humidity"),
        (Treatment(visit=1, day=DAY, products=(Product(groups=(77,)),)), "groups"),
        (Treatment(visit=1, day=DAY, chemical=False, products=(Product(),)), "no products"),
        (KeptPlan(visit=1, plan={"x": float("inf")}), "numbers"),
        (KeptPlan(visit=1, plan={"x": "y" * 5_000_000}), "too long"),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(records: Records, kept: Kept, entry: object, told: str) -> None:
    before = records.database.read("SELECT total_changes()")[0][0]
    adds = {Client: records.add_client, Site: records.add_site, Visit: records.add_visit}
    adds |= {Treatment: records.add_treatment, KeptPlan: records.add_plan}  # type: ignore[dict-item]
    with pytest.raises(RecordsError, match=told):
        adds[type(entry)](entry)  # type: ignore[index, call-overload]
    assert records.database.read("SELECT total_changes()")[0][0] == before


def test_photos_are_kept_upright_and_bare(records: Records, kept: Kept, tmp_path: Path) -> None:
    original = photo(tmp_path / "IMG_1.jpg")
    assert b"SERIAL-77" in original.read_bytes()
    sha256 = records.store_photo(original)
    assert records.store_photo(original) == sha256
    records.add_photo(KeptPhoto(kept.visit, sha256, "before"))
    file = records.photo_file(sha256)
    with pytest.raises(RecordsError, match="already"):
        records.add_photo(KeptPhoto(kept.visit, sha256))
    for name in ("../../x", "ab" * 31, "AB" * 32, "ef" * 32):
        with pytest.raises(RecordsError):
            records.photo_file(name)
    with Image.open(file) as image:
        assert image.size == (120, 160) and not image.getexif()
    assert not any(word in file.read_bytes() for word in (b"SERIAL-77", b"SECRET-PLACE", b"Exif"))


def test_groups_used_come_from_treatments_and_from_what_was_told(records: Records, kept: Kept) -> None:
    records.add_group_use(GroupUse(kept.site, date(2025, 9, 1), 2))
    assert records.groups_used(kept.site) == (2, 4)
    assert records.groups_used(kept.site, since=date(2026, 1, 1)) == (4,)
    two = (Product(groups=(0, 9)), Product(groups=(9, 12)))
    records.change_treatment(replace(kept.treatment, products=two))
    assert records.groups_used(kept.site, since=DAY) == (9, 12)


def test_follow_ups_are_due_until_they_are_done(records: Records, kept: Kept) -> None:
    late = records.add_follow_up(FollowUp(kept.site, date(2026, 6, 12), "survivors", kept.visit))
    records.add_follow_up(FollowUp(kept.site, date(2026, 7, 12), "seed"))
    assert records.overdue(date(2026, 6, 11)) == ()
    assert records.overdue(date(2026, 6, 12)) == (late,)
    assert late.uid.endswith("@swardkey")
    records.finish_follow_up(late.id, date(2026, 6, 13))
    assert records.overdue(date(2026, 6, 30)) == ()
    assert [f.what for f in records.follow_ups(open_only=False)] == ["survivors", "seed"]


def test_history_is_newest_first_with_what_was_done(records: Records, kept: Kept) -> None:
    later = records.add_visit(Visit(kept.site, date(2026, 6, 20), "Kim"))
    past = records.history(kept.site)
    assert [p.visit.record.visit.id for p in past] == [later.id, kept.visit]  # type: ignore[union-attr]
    assert [t.record for t in past[1].treatments] == [kept.treatment]


@pytest.mark.parametrize("fts5", [True, False])
def test_search_finds_by_beginnings_of_words(
    records: Records, kept: Kept, fts5: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(words_module, "has_index", lambda connection: fts5)
    assert [(h.kind, h.id) for h in records.search("bindi")] == [("visit", kept.visit)]
    assert {h.kind for h in records.search("watt")} == {"client", "treatment"}
    assert {h.kind for h in records.search('LOW "st')} == {"treatment", "site"}
    for strange in ("", "  ", '"', "a* OR", "100%", "\\", "NEAR(", "_"):
        records.search(strange)
    assert records.search("medicago") == () and records.search("%") == ()


def test_a_search_looks_for_few_words_each_once_and_ends_in_time(
    records: Records, kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(40):
        records.add_visit(Visit(kept.site, date(2026, 6, 20), "Kim", notes=f"a lawn at a bend, visit {number} " * 8))
    asked: list[str] = []
    records.database.connection.set_trace_callback(asked.append)
    found = records.search("a " * 100)
    assert [hit.id for hit in found] == [hit.id for hit in records.search("A")] and len(found) > 40
    assert max(sql.count('"a"*') for sql in asked) == 1, "a word that is repeated is looked for once"
    asked.clear()
    records.search(" ".join(f"w{number}{'x' * 100}" for number in range(500)))
    longest = max(asked, key=len)
    assert longest.count('"w') == 8 and "x" * 41 not in longest
    monkeypatch.setattr(words_module, "LONGEST_SEARCH", -1.0)
    with pytest.raises(RecordsError, match="took too long and was stopped"):
        records.search("a")
    assert records.visit(kept.visit).who == "Kim", "and the book is as usable as before"


def test_of_a_long_text_that_part_is_shown_in_which_the_word_stands(records: Records, kept: Kept) -> None:
    records.add_visit(Visit(kept.site, date(2026, 6, 20), "Kim", notes="mown low " * 50 + "oxalis by the tap"))
    shown = records.search("oxal")[0].text
    assert shown.startswith("…") and "oxalis by the tap" in shown and len(shown) <= words_module.LONGEST_SHOWN


def test_an_index_that_missed_something_is_made_anew(
    records: Records, kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as without:
        without.setattr(words_module, "has_index", lambda connection: False)
        records.add_client(Client(name="Banksia"))
        assert [h.text for h in records.search("banksia")] == ["Banksia"]
    assert [h.text for h in records.search("banksia")] == ["Banksia"]
    records.add_client(Client(name="Grevillea"))
    assert [h.text for h in records.search("banksia")] == ["Banksia"]
    index = records.database.read("SELECT rowid FROM words_index WHERE words_index MATCH 'banksia'")
    assert len(index) == 1


def test_a_draft_is_saved_on_each_step_and_ends_as_a_visit() -> None:
    with open_records() as records:
        kept = keep_some(records)
        first = records.save_draft({"step": "photos"})
        other = records.save_draft({"step": "photos", "name": "é"})
        assert len(first.id) == 22 and first.id != other.id
        records.save_draft({"step": "questions"}, first.id)
    with open_records() as records:
        assert records.draft(first.id).state == {"step": "questions"}
        assert records.draft(other.id).state["name"] == "é"
        assert {d.id for d in records.recent_drafts()} == {first.id, other.id}
        records.end_draft(first.id, kept.visit)
        assert records.draft(first.id).visit == kept.visit
        assert [d.id for d in records.recent_drafts()] == [other.id]
        with pytest.raises(RecordsError, match="has become a visit"):
            records.save_draft({}, first.id)
        with pytest.raises(RecordsError):
            records.end_draft(other.id, 99)
        for unknown in ("../../etc/passwd", "x" * 22):
            with pytest.raises(RecordsError, match="address"):
                records.draft(unknown)


def test_a_file_that_is_no_record_book_is_one_sentence(tmp_path: Path) -> None:
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / FILE).write_bytes(b"not a database, " * 100)
    with pytest.raises(RecordsError, match="is not a record book"):
        open_records(folder)


def test_a_damaged_book_is_one_sentence(tmp_path: Path) -> None:
    folder = tmp_path / "records"
    book(folder)
    data = bytearray((folder / FILE).read_bytes())
    data[4096 : len(data) // 2] = b"\xff" * (len(data) // 2 - 4096)
    (folder / FILE).write_bytes(data)
    with pytest.raises(RecordsError, match=r"damaged|cannot be used"), open_records(folder) as records:
        records.history(1)
        records.clients()
        records.search("x")


@pytest.mark.parametrize("day", [date(9999, 12, 31), date(1901, 1, 1)])
def test_a_day_that_is_a_slip_is_refused(day: date, records: Records, kept: Kept) -> None:
    tries = (
        lambda: records.add_visit(Visit(kept.site, day, "Kim")),
        lambda: records.change_treatment(replace(kept.treatment, day=day)),
        lambda: records.add_follow_up(FollowUp(kept.site, day, "survivors")),
        lambda: records.add_group_use(GroupUse(kept.site, day, 4)),
    )
    for change in tries:
        with pytest.raises(RecordsError, match=f"{day_text(day)}, is over 10 years back or .* ahead; correct it"):
            change()


def test_a_book_with_the_last_day_of_the_calendar_opens_and_is_corrected(records: Records, kept: Kept) -> None:
    records.database.connection.execute("UPDATE treatments SET content = replace(content, '2026-06-01', '9999-12-31')")
    (waiting,) = records.unsigned()
    assert waiting.treatment.day == date.max == keep_until(waiting.treatment)
    due = FollowUp(kept.site, date.max, "survivors", uid="u", id=1)
    assert b"survivors" in calendar_file([due], {}, datetime.now(UTC))
    assert records.change_treatment(kept.treatment).day == kept.treatment.day
