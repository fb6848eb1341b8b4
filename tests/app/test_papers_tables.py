"""CSV, calendar and Darwin Core, read back by readers that are not ours."""

from __future__ import annotations

import csv
import io
import math
import re
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import icalendar
import pytest
from dwca.read import DwCAReader

from app.papers.csv_table import findings_csv, treatments_csv
from app.papers.darwin_core import LICENCES, Sharing, archive, occurrence_csv, uncertainty
from app.papers.follow_ups import calendar_file
from app.present.naming import against, mistaken_for, seen
from app.records.entries import Client, Current, FollowUp, Product, Site, Treatment, Visit, VisitRecord
from app.records.findings import KeptFinding
from app.services.visit_papers import answers_of, namings_of
from model.errors import AnswerError
from model.identify import Key

SITE = Site(1, "12 Wattle Street, Invented Bay", "NSW", "buffalo", (), None, -33.90512, 151.20381, id=1)
NOW = datetime(2026, 6, 9, 12, tzinfo=UTC)
BOOK = "1f" * 16  # the id of a record book


def visit(*findings: KeptFinding, site: Site = SITE) -> VisitRecord:
    return VisitRecord(Visit(1, date(2026, 6, 9), "R. Grower", id=4), site, Client("M. Secret", id=1), (), findings)


def found(**more: Any) -> KeptFinding:
    given = {"visit": 4, "finding": {}, "status": "confirmed", "species": "soliva_sessilis", "probability": 0.98}
    return KeptFinding(**{**given, "answers": {"spines": ["on_fruit"], "seed_wings": "broad"}, "id": 7, **more})


def rows_of(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize("typed", ["=1+1", "+61 400", "-1+1", "@SUM(A1)", "\t=1", "  =1", "'=1"])
def test_no_cell_starts_a_formula(typed: str) -> None:
    treatment = Treatment(4, date(2026, 6, 9), notes=typed, products=(Product(typed, label=typed), Product("two")))
    rows = rows_of(treatments_csv([Current("treatment", replace(treatment, id=3))]))
    assert len(rows) == 2, "one row a product"
    assert all(rows[0][name].startswith("'") for name in ("notes", "product_name", "product_label"))
    for row in rows:
        assert not any(cell.startswith(("=", "+", "-", "@", "\t")) for cell in row.values())


@pytest.mark.parametrize("typed", ["a;=1+1", "a\t=1+1", "a\n=1+1", "a; @SUM(A1)", "a;\uff1d1", "a;=1;=2"])
def test_no_part_of_a_cell_starts_a_formula_where_a_program_divides_it(typed: str) -> None:
    treatment = Treatment(4, date(2026, 6, 9), notes=typed, id=3)
    (row,) = rows_of(treatments_csv([Current("treatment", treatment)]))
    parts = re.split(r"[;\t\n]", row["notes"])
    assert len(parts) > 1 and not any(part.lstrip().startswith(tuple("=+-@\uff1d")) for part in parts)
    assert row["notes"].replace("'", "") == typed


def test_numbers_and_days_stay_what_they_are() -> None:
    treatment = Treatment(4, date(2026, 6, 9), area_m2=220.0, water_litres=0.5, tank_loads="-2", id=3)
    row = rows_of(treatments_csv([Current("treatment", treatment)]))[0]
    assert (row["day"], row["area_m2"], row["water_litres"], row["tank_loads"]) == ("2026-06-09", "220", "0.5", "-2")
    assert (row["treatment"], row["versions"], row["signed_by"]) == ("3", "0", "")


def test_findings_are_a_row_each_with_their_answers() -> None:
    rows = rows_of(findings_csv([visit(found(), found(id=8, species=None, status="undecided", probability=None))]))
    assert [row["species"] for row in rows] == ["soliva_sessilis", ""]
    assert rows[0]["answers"] == "spines: on_fruit; seed_wings: broad" and rows[0]["probability"] == "0.9800"


def test_the_calendar_is_read_back_with_its_days_and_places() -> None:
    due = [
        FollowUp(1, date(2026, 6, 23), "Look at bindii; bring knife, bag", 4, uid="one@swardkey", id=1),
        FollowUp(1, date(2026, 7, 1), "\u00dcber \U0001f33f " + "long " * 60, uid="two@swardkey", id=2),
        FollowUp(1, date(2026, 5, 1), "done already", done=date(2026, 5, 2), uid="three@swardkey", id=3),
    ]
    data = calendar_file(due, {1: SITE}, NOW)
    assert all(len(line) <= 75 for line in data.split(b"\r\n")) and data.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    calendar = icalendar.Calendar.from_ical(data)
    assert calendar.errors == [] and str(calendar["VERSION"]) == "2.0" and calendar["PRODID"]
    events = list(calendar.walk("VEVENT"))
    assert [str(event["UID"]) for event in events] == ["one@swardkey", "two@swardkey"]
    assert events[0]["DTSTART"].dt == date(2026, 6, 23) and events[0]["DTEND"].dt == date(2026, 6, 24)
    assert str(events[0]["SUMMARY"]) == due[0].what and str(events[1]["SUMMARY"]).strip() == due[1].what.strip()
    assert str(events[0]["LOCATION"]) == SITE.address and events[0]["DTSTAMP"].dt == NOW
    assert all(event.errors == [] and len(event.walk("VALARM")) == 1 for event in events)


def read_archive(data: bytes, folder: Path) -> tuple[list[dict[str, str]], Any]:
    file = folder / "found.zip"
    file.write_bytes(data)
    with DwCAReader(str(file)) as reader:
        rows = [{term.rsplit("/", 1)[1]: value for term, value in row.data.items()} for row in reader]
        return rows, (reader.metadata, reader.descriptor, reader.core_file_location)


def test_the_archive_is_read_by_another_reader(key: Key, tmp_path: Path) -> None:
    sharing = Sharing("Own Lawns & Co", "CC BY", BOOK, decimals=2)
    visits = [visit(found(), found(id=8, status="likely"), found(id=9, status="likely", confirmed_by="R. Grower"))]
    rows, (metadata, descriptor, core) = read_archive(archive(visits, key.flora, sharing, date(2026, 6, 10)), tmp_path)
    assert core == "occurrence.txt" and descriptor.core.type == "http://rs.tdwg.org/dwc/terms/Occurrence"
    assert len(rows) == 2, "a likely name that nobody confirmed is not given away"
    one = rows[0]
    assert one["scientificName"] == "Soliva sessilis" and one["basisOfRecord"] == "HumanObservation"
    assert one["eventDate"] == "2026-06-09" and one["license"] == LICENCES["CC BY"]
    by = [row["identificationVerificationStatus"] for row in rows]
    assert by == ["confirmed by characters", "confirmed by the observer"]
    assert len({row["occurrenceID"] for row in rows}) == 2
    assert metadata.find("dataset/creator/organizationName").text == sharing.by
    assert metadata.find("dataset/pubDate").text == "2026-06-10"
    assert metadata.find("dataset/intellectualRights/para/ulink").get("url") == LICENCES["CC BY"]


def test_a_finding_keeps_its_name_whoever_publishes_and_whatever_is_corrected(key: Key) -> None:
    def name(of: VisitRecord, by: str, dataset: str = BOOK) -> str:
        return rows_of(occurrence_csv([of], key.flora, Sharing(by, "CC0", dataset)))[0]["occurrenceID"]

    kept = visit(found())
    corrected = replace(visit(found(species="poa_annua")), visit=replace(kept.visit, day=date(2026, 6, 8)))
    assert name(kept, "Own Lawns") == name(kept, "Renamed Lawns") == name(corrected, "Own Lawns")
    assert name(kept, "Own Lawns") != name(kept, "Own Lawns", "2e" * 16), "of another book"


def test_places_leave_only_by_choice_and_rounded(key: Key, tmp_path: Path) -> None:
    kept = visit(found())
    bare = rows_of(occurrence_csv([kept], key.flora, Sharing("Own Lawns", "CC0", BOOK)))[0]
    assert bare["decimalLatitude"] == bare["decimalLongitude"] == bare["coordinateUncertaintyInMeters"] == ""
    assert "withheld" in bare["informationWithheld"]
    for decimals in range(4):
        rounded = rows_of(occurrence_csv([kept], key.flora, Sharing("Own Lawns", "CC0", BOOK, decimals)))[0]
        latitude, longitude = float(rounded["decimalLatitude"]), float(rounded["decimalLongitude"])
        assert (latitude, longitude) == (round(-33.90512, decimals), round(151.20381, decimals))
        north = abs(latitude + 33.90512) * 111_320
        east = abs(longitude - 151.20381) * 111_320 * math.cos(math.radians(33.9))
        assert math.hypot(north, east) <= int(rounded["coordinateUncertaintyInMeters"]) <= 80_000 / 10**decimals
    coarse = replace(SITE, latitude=-33.9, longitude=151.2)
    typed = rows_of(occurrence_csv([visit(found(), site=coarse)], key.flora, Sharing("Own", "CC0", BOOK, 3)))[0]
    assert typed["decimalLatitude"] == "-33.9" and typed["coordinateUncertaintyInMeters"] == str(uncertainty(-33.9, 1))


def test_neither_client_nor_address_nor_names_leave(key: Key) -> None:
    kept = visit(found(confirmed_by="R. Grower"))
    data = archive([kept], key.flora, Sharing("Own Lawns", "CC0", BOOK, 3), date(2026, 6, 10))
    with zipfile.ZipFile(io.BytesIO(data)) as zipped:
        assert zipped.namelist() == ["meta.xml", "eml.xml", "occurrence.txt"]
        whole = b"".join(zipped.read(name) for name in zipped.namelist()).decode()
        for name in ("meta.xml", "eml.xml"):
            ElementTree.fromstring(zipped.read(name))
    for secret in ("Secret", "Wattle", "Grower", "33.90512"):
        assert secret not in whole
    named = occurrence_csv([kept], key.flora, Sharing("Own Lawns", "CC0", BOOK, names=True)).decode()
    assert "R. Grower" in named


@pytest.mark.parametrize(
    ("sharing", "words"),
    [
        (Sharing("Own", "CC BY-ND", BOOK), "choose one of"),
        (Sharing(" ", "CC0", BOOK), "name a publisher"),
        (Sharing("Own", "CC0", BOOK, 4), "client's house"),
    ],
)
def test_what_cannot_be_shared_is_refused(key: Key, sharing: Sharing, words: str) -> None:
    with pytest.raises(AnswerError, match=words):
        occurrence_csv([visit(found())], key.flora, sharing)


def test_nothing_confirmed_is_nothing_to_share(key: Key) -> None:
    with pytest.raises(AnswerError, match="nothing to share"):
        archive([visit(found(status="likely"))], key.flora, Sharing("Own", "CC0", BOOK), date(2026, 6, 10))


def test_the_name_of_a_visit_is_its_confirmed_finding(key: Key) -> None:
    late = found(id=9, species="poa_annua", status="likely")
    first = found(id=8, status="likely", confirmed_by="R. Grower")
    named = namings_of(visit(first, late), key)[0]
    assert (named.species, named.confirmed_by) == ("soliva_sessilis", "R. Grower")
    finding = {"candidates": [{"species": "poa_annua", "probability": 0.4}]}
    undecided = found(species=None, status="undecided", finding=finding, probability=None)
    named = namings_of(visit(undecided), key)[0]
    assert (named.species, named.probability, named.also) == ("poa_annua", 0.4, ())
    listed = [{"species": s, "probability": p} for s, p in (("poa_annua", 0.5), ("lolium_rigidum", 0.3), ("x", 0.2))]
    shortlist = found(species=None, status="undecided", finding={"candidates": listed}, probability=None)
    assert namings_of(visit(shortlist), key)[0].also == ("lolium_rigidum",), "what it may be as well is planned for"
    agreed = found(species=None, status="undecided", finding={"candidates": listed}, confirmed_by="R. Grower")
    likely = found(species="poa_annua", status="likely", finding={"candidates": listed})
    for one in (agreed, likely):
        assert namings_of(visit(one), key)[0].also == (), "a plant that was named is planned for alone"
    unlisted = found(species=None, status="unlisted", finding={"candidates": listed}, probability=None)
    with pytest.raises(AnswerError, match="no plant on file fits"):
        namings_of(visit(unlisted), key)[0]
    faint = found(species=None, status="undecided", finding={"candidates": [{**listed[0], "probability": 0.09}]})
    with pytest.raises(AnswerError, match="identify it first"):
        namings_of(visit(faint), key)[0]
    assert namings_of(visit(replace(faint, confirmed_by="Kim")), key)[0].species == "poa_annua", "a person said so"
    assert answers_of(found(answers={"gone_character": "x", "spines": "none"}), key) == {"spines": ("none",)}
    with pytest.raises(AnswerError, match="identify it first"):
        namings_of(visit(), key)[0]


def test_answers_on_parts_that_could_not_be_seen_are_no_reasons(key: Key) -> None:
    given = {"seed_wings": "broad", "leaf_build": "finely_cut", "spines": "on_fruit"}
    kept = found(answers=given, species="soliva_sessilis", status="likely")
    whole = namings_of(visit(kept), key)[0]
    assert list(whole.answers) == list(given) and whole.counted(key) == whole.answers
    leaves = namings_of(visit(replace(kept, visible=("leaves",))), key)[0]
    assert leaves.answers == whole.answers and "seed_wings" not in leaves.counted(key)
    assert "leaf_build" in leaves.counted(key)
    wings = key.flora.characters["seed_wings"].question
    assert any(line.startswith(wings) for line in seen(whole, key))
    assert not any(line.startswith(wings) for line in (*seen(leaves, key), *against(leaves, key)))
    ruled_out = [sum(out for *_, out in mistaken_for(naming, key)) for naming in (leaves, whole)]
    assert ruled_out[0] < ruled_out[1], "what could not be seen rules nothing out"
