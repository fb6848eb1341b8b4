"""The commands of the records, from the first client to a backup brought back."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from app.records import Client, RecordsError, Site, Visit, open_records
from app.records.yaml_fields import changed_by, read_fields
from tests.app.conftest import Run

TREATED = """\
products:
  - {name: as on my label, actives: "2,4-D 625 g/L", groups: [4], rate: 1.50 mL/L, batch: 007}
gear: hand_spray
situation: home lawn
area_m2: 120
started: "08:10"
weather:
  - {at: "08:10", temperature: 21, humidity: 60, wind_speed: 6, wind_direction: SE}
"""


@pytest.fixture
def treated(tmp_path: Path) -> Path:
    """The file of a treatment, which is in the book, unsigned."""
    file = tmp_path / "treated.yaml"
    file.write_text(TREATED, encoding="utf-8")
    with open_records() as book:
        client = book.add_client(Client(name="A. Wattle", phone="0000"))
        site = book.add_site(Site(client.id, "1 Low Street", "VIC", "couch", ("pets",)))
        visit = book.add_visit(Visit(site.id, date(2026, 6, 1), "Kim"))
        book.add_treatment(changed_by(book.new_treatment(visit.id), read_fields(file), file))
    return file


def test_client_site_visit_and_treatment_by_commands_alone(run: Run, treated: Path) -> None:
    assert run("records", "clients", "--add", "B. Banksia", "--phone", "0001").out == "client 2 is kept\n"
    site = run(*["records", "sites", "--client", "2", "--add", "X", "--state", "nt", "--near", "pets", "--json"]).json[
        "site"
    ]
    assert (site["state"], site["near"]) == ("NT", ["pets"])
    run("records", "visits", "--site", "2", "--add", "Kim", "--day", "2026-06-01")
    found = run("records", "treat", "2", treated, "--json").json
    assert "the APVMA approval number, from the label" in found["missing"]
    product = found["treatment"]["products"][0]
    assert (product["rate"], product["batch"], found["treatment"]["client"]) == ("1.50 mL/L", "007", "B. Banksia")


def test_from_a_client_to_an_amended_record(run: Run, treated: Path, tmp_path: Path) -> None:
    signed = run(*["records", "sign", "treatment", "1", "--by", "Kim", "--json"]).json["signed"]
    assert (signed["sequence"], signed["former"]) == (1, "")
    (tmp_path / "a.yaml").write_text("area_m2: 130\n")
    amend = ("records", "amend", "treatment", "1", tmp_path / "a.yaml", "--by", "Lee", "--because", "measured again")
    assert "is amended by Lee" in run(*amend).out
    assert "is the same as before" in run(*amend).refusal
    shown = run("records", "show", "treatment", "1", "--json").json
    assert shown["record"]["area_m2"] == 130.0 and len(shown["chain"]) == 2
    site = run("records", "show", "site", "1", "--json").json
    assert site["groups_used"] == [4] and len(site["history"]) == 1
    assert run("records", "search", "watt", "--json").json["found"][0]["kind"] in ("client", "treatment")
    assert run("records", "check", "--json").json["sound"]
    assert "wattle" in run("records", "show", "client", "1").out.casefold()


def test_what_is_missing_is_said_and_filled_in(run: Run, treated: Path, tmp_path: Path) -> None:
    (tmp_path / "less.yaml").write_text("gear: powered_spray\n")
    said = run("records", "treat", "1", tmp_path / "less.yaml").out
    assert "still missing: the direction the wind blew from at the start" in said
    sign = ("records", "sign", "treatment", "2", "--by", "Kim")
    assert "still missing for VIC: the area treated" in run(*sign).refusal
    assert "still missing" not in run("records", "change", "treatment", "2", treated).out
    assert run(*sign).status == 0
    assert "amend it" in run("records", "change", "treatment", "2", tmp_path / "less.yaml").refusal


def test_what_is_due(run: Run, treated: Path) -> None:
    run("records", "due", "--add", "survivors", "--site", "1", "--day", "2026-06-12")
    assert "survivors" not in run("records", "due", "--day", "2026-05-20").out
    assert "next two weeks:\n1: 12 June 2026; survivors" in run("records", "due", "--day", "2026-06-01").out
    due = run("records", "due", "--day", "2026-06-12", "--json").json
    assert due["overdue"][0]["what"] == "survivors"
    assert due["unsigned"][0]["late"] and due["unsigned"][0]["write_up_by"].startswith("2026-06-02")  # 2,4-D: 24 h
    run("records", "due", "--done", "1", "--day", "2026-06-12")
    assert "survivors" not in run("records", "due", "--day", "2026-06-30").out


def test_what_came_of_a_follow_up_is_kept_shown_and_taken_back(run: Run, treated: Path) -> None:
    run("records", "due", "--add", "survivors", "--visit", "1", "--day", "12/6/2026")
    assert run("records", "due", "--add", "edges", "--site", "1").out == "follow-up 2 is kept\n"
    done = run("records", "due", "--done", "1", "--day", "12/6/2026", "--outcome", "three left")
    assert done.out == "follow-up 1 is done: three left\n"
    for kind in ("visit", "site"):
        assert "1: survivors; done on 12 June 2026; three left" in run("records", "show", kind, "1").out
    assert "edges" not in run("records", "show", "visit", "1").out, "it belongs to the site alone"
    data = run("records", "show", "site", "1", "--json").json["follow_ups"]
    assert [(one["visit"], one["outcome"]) for one in data] == [(1, "three left"), (None, "")]
    again = run("records", "due", "--done", "1", "--outcome", "none left").refusal
    assert "follow-up 1 was done on 12 June 2026 (three left); undo that first" in again
    assert run("records", "due", "--undo", "1").out == "follow-up 1 is to be done again\n"
    assert "1: survivors; due on 12 June 2026\n" in run("records", "show", "visit", "1").out
    assert run("records", "due", "--done", "1", "--outcome", "none left", "--json").json["follow_up"]["done"]


def test_what_is_missing_is_named_with_its_key_when_it_is_signed(run: Run, treated: Path, tmp_path: Path) -> None:
    (tmp_path / "less.yaml").write_text("gear: powered_spray\n")
    found = run("records", "treat", "1", tmp_path / "less.yaml", "--json").json
    assert (
        len(found["missing_fields"]) == len(found["missing"]) and "weather: wind_direction" in found["missing_fields"]
    )
    refusal = run("records", "sign", "treatment", "2", "--by", "Kim").refusal
    assert all(
        f"{text} ({key})" in refusal for text, key in zip(found["missing"], found["missing_fields"], strict=True)
    )


@pytest.mark.parametrize("what", ["clients", "sites", "visits"])
def test_lists_are_empty_before_anything_is_kept(run: Run, what: str) -> None:
    assert run("records", what, "--json").json == {what: []} and run("records", what).out == "none\n"
    assert run("records", "due").out == "nothing is due\n"


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("sites --add x", "--client"),
        ("sites --add x --client 7", "no client 7"),
        ("sites --add x --client 1 --state Texas", "state"),
        ("visits --add Kim --site 1 --day 31/6/26", "is not a date"),
        ("show treatment 9", "no treatment 9"),
        ("show dog 9", "'dog'"),
        ("sign dog 1 --by Kim", "'dog'"),
        ("sign visit 9 --by Kim", "no visit 9"),
        ("sites --edit 1 --near dog", "--near dog: not known; choose from: edibles"),
        ("sites --edit 1 --area big", "--area: 'big' is not a number"),
        ("due --done 9", "no follow up 9"),
        ("due --undo 9", "no follow up 9"),
        ("due --add x", "give --visit NUMBER or --site NUMBER"),
        ("due --add x --visit 1 --site 2", "visit 1 was to site 1, not 2"),
        ("due --add x --done 1", "give one of them"),
        ("due --outcome x", "--done"),
        ("treat 9 treated.yaml", "no visit 9"),
        ("treat 1 nowhere.yaml", "No such file"),
    ],
)
def test_a_slip_is_one_sentence(run: Run, treated: Path, monkeypatch: pytest.MonkeyPatch, line: str, says: str) -> None:
    monkeypatch.chdir(treated.parent)
    assert says in run("records", *line.split()).refusal


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"gear: [1", "line"),
        (b"", "no fields"),
        (b"- a\n", "no fields"),
        (b"\xff\xfe", "UTF-8"),
        (b"a: &x [1]\nnotes: *x\n", "reference"),
        (b"gaer: x\n", "did you mean gear"),
        (b"visit: 2\n", "visit is not a field"),
        (b"id: 2\n", "id is not a field"),
        (b"gear: cannon\n", "gear"),
        (b"area_m2: lots\n", "area_m2"),
        (b"products: {name: x}\n", "products"),
        (b"products: [{rat: x}]\n", "no such field"),
        (b"day: 2026-13-01\n", "day"),
        (b"notes: " + b"x" * 300_000, "too large"),
        (b"notes: " + b"[" * 1500, "YAML"),
        (b"chemical: no\nproducts: [{name: x}]\n", "no products"),
        (b"? [a]\n: b\n", "YAML"),
    ],
)
def test_a_wrong_file_is_one_sentence(text: bytes, told: str, treated: Path, tmp_path: Path) -> None:
    file = tmp_path / "bad.yaml"
    file.write_bytes(text)
    with open_records() as book:
        with pytest.raises(RecordsError, match=told):
            book.add_treatment(changed_by(book.new_treatment(1), read_fields(file), file))
        assert len(book.treatments()) == 1


def test_a_fault_in_the_chain_is_status_1(run: Run, treated: Path) -> None:
    run("records", "sign", "treatment", "1", "--by", "Kim")
    with open_records() as book:
        connection = book.database.connection
        connection.execute("DROP TRIGGER signed_never_changes")
        connection.execute("UPDATE signed SET signed_by = 'Lee'")
    done = run("records", "check")
    assert done.status == 1 and "is not what was signed" in done.out


def test_backup_and_restore(run: Run, treated: Path, tmp_path: Path) -> None:
    file = tmp_path / "b.zip"
    assert run("backup", file, "--json").json["folders"] == ["records"]
    assert "is there already" in run("backup", file).refusal
    run("records", "clients", "--add", "Later")
    assert "--yes" in run("restore", file, "--json").refusal
    assert "restored" in run("restore", file, "--yes").out
    assert len(run("records", "clients", "--json").json["clients"]) == 1
    assert "before-restore" in run("restore", file, "--yes").out


def test_a_sheet_to_fill_in_holds_what_the_state_asks_and_is_taken_when_filled(
    run: Run, treated: Path, tmp_path: Path
) -> None:
    sheet = run("records", "treat", "--blank", "vic").out
    assert "wind_direction:" in sheet and "# the full name of the product, from the label" in sheet
    assert "expiry" not in sheet and "approval_number" not in sheet, "Victoria does not ask for these"
    assert "is not filled in" not in sheet
    file = tmp_path / "sheet.yaml"
    file.write_text(sheet)
    assert (
        "still missing: the rate with its unit, from the label (products: rate)"
        in run(*["records", "treat", "1"], file).out
    )
    typed = {
        "  - name:": "as on my label", "    rate:": "1.50 mL/L", "    groups:": "4, 6", "gear:": "hand_spray",
        "day:": "1/6/2026", "started:": "9am", "area_m2:": "120 m2", "    temperature:": "21 C", "    humidity:": "60%",
        "situation:": "home lawn",
    }  # fmt: skip
    for key, value in typed.items():
        assert f"\n{key}" in sheet
        sheet = sheet.replace(f"\n{key}", f"\n{key} {value}", 1)
    file.write_text(sheet)
    kept = run("records", "treat", "1", file, "--json").json
    assert (kept["missing"], kept["treatment"]["started"], kept["treatment"]["area_m2"]) == ([], "09:00:00", 120.0)
    assert kept["treatment"]["products"][0]["groups"] == [4, 6] and kept["treatment"]["weather"][0]["delta_t"] > 0
    assert "'TEXAS'" not in run("records", "treat", "--blank", "Texas").refusal
    assert "--blank NSW > FILE" in run("records", "treat").refusal


def test_a_client_and_a_site_are_edited_merged_and_removed(run: Run, treated: Path) -> None:
    run("records", "clients", "--add", "A Wattle", "--email", "a@b.c", "--phone", "0009")
    run("records", "sites", "--client", "2", "--add", "1 Low St", "--lawn", "Palmetto")
    assert "lawn is Palmetto buffalo" in run("records", "show", "site", "2").out
    run("records", "sites", "--edit", "2", "--state", "Victoria", "--area", "90")
    assert (
        run("records", "sites").out.splitlines()[0].startswith("2: 1 Low St, VIC; A Wattle; buffalo lawn; 90 m\u00b2")
    )
    assert "client 2 has 1 site, so it stays" in run("records", "remove", "client", "2").refusal
    assert run("records", "merge", "client", "2", "--into", "1").out == "client 1 now holds all of client 2\n"
    client = run("records", "show", "client", "1", "--json").json
    assert client["client"]["email"] == "a@b.c" and "name A Wattle; phone 0009" in client["client"]["notes"]
    assert len(client["sites"]) == 2
    assert "no client 2" in run("records", "show", "client", "2").refusal
    assert run("records", "remove", "site", "2").out == "site 2 is removed\n"
    assert "no site 2" in run("records", "sites", "--edit", "2", "--area", "3").refusal
    assert run("records", "check", "--json").json["sound"]
    assert not run("records", "search", "palmetto", "--json").json["found"]


def test_signed_visits_never_move_to_another_site(run: Run, treated: Path) -> None:
    run("records", "sites", "--client", "1", "--add", "1 Low St")
    run("records", "sign", "visit", "1", "--by", "Kim")
    assert "merge site 2 into site 1 instead" in run("records", "merge", "site", "1", "--into", "2").refusal
    assert run("records", "merge", "site", "2", "--into", "1").status == 0
    assert run("records", "check", "--json").json["sound"]


def test_records_are_shown_for_people_with_what_their_own_state_asks(run: Run, treated: Path) -> None:
    shown = run("records", "show", "treatment", "1").out
    assert "Spray record 1, 1 June 2026. Not signed yet" in shown and "1.50 mL/L" in shown
    assert "Full name of the product" in shown and "Expiry" not in shown and "{" not in shown
    assert "VIC" in run("records", "sites").out and "A. Wattle" in run("records", "sites").out
    assert "treatment 1" in run("records", "show", "site", "1").out
    signed = run("records", "sign", "treatment", "1", "--by", "Kim").out
    assert "+00:00" not in signed and str(date.today().year) in signed
    assert "not signed" in run("records", "show", "visit", "1").out, "only the treatment was"


def test_a_finding_and_a_plan_are_kept_with_a_visit(run: Run, treated: Path, tmp_path: Path) -> None:
    answers = tmp_path / "a.yaml"
    answers.write_text(Path("sample_images/dandelion_answers.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    photo = "sample_images/taraxacum_officinale_flowering_3.jpg"
    assert "has no finding that names a plant" in run("advise", "--visit", "1").refusal
    assert run("identify", photo, "--answers", answers, "--visit", "1", "--json").json["species"] == (
        "taraxacum_officinale"
    )
    made = run("advise", "--visit", "1", "--json").json
    assert made["species"] == "taraxacum_officinale"
    planned = run("advise", "--visit", "1").out
    assert "dandelion: couch lawn, June" in planned and planned.endswith("The plan is saved with visit 1.\n")
    kept = run("records", "show", "visit", "1", "--json").json["record"]
    assert len(kept["photos"]) == 1 and kept["findings"][0]["species"] == "taraxacum_officinale"
    assert kept["plans"][0]["plan"]["case"]["month"] == 6, "the month of the visit"
    assert "found: dandelion (confirmed)" in run("records", "show", "visit", "1").out
    run("records", "sign", "visit", "1", "--by", "Kim")
    assert "visit 1 is signed, so nothing is added to it" in run("identify", photo, "--visit", "1").refusal
    assert "no visit 9" in run("advise", "bindii", "--visit", "9").refusal


def test_all_that_was_found_at_a_visit_is_planned_for_together(run: Run, treated: Path, tmp_path: Path) -> None:
    (tmp_path / "bindii.yaml").write_text("flower_build: button\nspines: on_fruit\nseed_structure: winged_spine_seed\n")
    for answers in (tmp_path / "bindii.yaml", "sample_images/dandelion_answers.yaml"):
        run("identify", "--answers", answers, "--visit", "1", "--json")
    made = run("advise", "--visit", "1", "--json").json
    assert set(made["species"]) == {"taraxacum_officinale", "soliva_sessilis"} and made["case"]["together"]
    assert "for weeds that are named" in run("advise", "--visit", "1", "--together").refusal
    named = run("advise", "bindii", "cudweed", "--visit", "1", "--json").json
    assert not named["case"]["together"], "several names are a shortlist until it is said otherwise"


def windy_sheet(folder: Path, answers: str = "") -> Path:
    """A sheet of a spray in too much wind, on another day than its visit."""
    file = folder / "windy.yaml"
    lines = ["day: 2/6/2026", "state: VIC", "gear: hand_spray", "situation: home lawn", "area_m2: 120", "started: 8:10"]
    lines += ["products:", "  - name: as on the label", "    actives: MCPA 340 g/L", "    rate: 1.50 mL/L"]
    lines += ["weather:", "  - at: 8:10", "    temperature: 20", "    humidity: 60", "    wind_speed: 45"]
    lines += ["    wind_direction: SE"]
    file.write_text("\n".join(lines) + f"\n{answers}")
    return file


def visited(run: Run) -> None:
    run("records", "clients", "--add", "A. Wattle", "--phone", "0000")
    run("records", "sites", "--client", "1", "--add", "1 Low Street", "--state", "VIC")
    run("records", "visits", "--site", "1", "--add", "Kim", "--day", "2026-06-01")


def test_each_question_before_a_signature_has_its_own_answer(run: Run, tmp_path: Path) -> None:
    visited(run)
    kept = run("records", "treat", "1", windy_sheet(tmp_path)).out
    assert "asked before it is signed: The wind was 45 km/h, over 20: why was it sprayed? (answers: wind)" in kept
    sign = ("records", "sign", "treatment", "1", "--by", "Lee")
    assert "--answer day=TEXT --answer wind=TEXT --answer signer=TEXT" in run(*sign).refusal
    assert "--answer gusts: say to which question" in run(*sign, "--answer", "gusts").refusal
    two = ("--answer", "day=came back", "--answer", "wind=gusts")
    assert "(--answer signer=TEXT)" in run(*sign, *two).refusal
    assert "is given twice" in run(*sign, *two, "--answer", "wind=more").refusal
    run(*sign, *two, "--answer", "signer=away")
    answered = run("records", "show", "treatment", "1", "--json").json["record"]["answered"]
    assert sorted(answered.values()) == ["away", "came back", "gusts"]


def test_a_sheet_answers_what_will_be_asked(run: Run, tmp_path: Path) -> None:
    visited(run)
    assert "answers:" in run("records", "treat", "--blank", "VIC").out
    wrong = windy_sheet(tmp_path, "answers:\n  widn: gusts\n")
    assert "answers: widn is not asked about; did you mean wind?" in run("records", "treat", "1", wrong).refusal
    kept = run("records", "treat", "1", windy_sheet(tmp_path, "answers:\n  wind: gusts\n  signer: Kim is away\n")).out
    assert "why was it sprayed" not in kept and "(answers: day)" in kept
    run("records", "sign", "treatment", "1", "--by", "Lee", "--answer", "came back")
    answered = run("records", "show", "treatment", "1", "--json").json["record"]["answered"]
    assert sorted(answered.values()) == ["Kim is away", "came back", "gusts"]


def test_in_a_terminal_each_question_is_asked(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    visited(run)
    run("records", "treat", "1", windy_sheet(tmp_path, "answers:\n  wind: gusts\n"))
    monkeypatch.setattr("app.commands.sign_records.is_interactive", lambda: True)
    done = run("records", "sign", "treatment", "1", "--by", "Kim", stdin="came back\n")
    assert done.status == 0 and "The treatment is dated 2 June 2026, the visit 1 June 2026: why?" in done.out
    assert "over 20" not in done.out
    answered = run("records", "show", "treatment", "1", "--json").json["record"]["answered"]
    assert sorted(answered.values()) == ["came back", "gusts"]


def test_numbers_are_taken_with_their_unit(run: Run, treated: Path) -> None:
    run("records", "sites", "--edit", "1", "--area", "120 m2")
    assert run("records", "show", "site", "1", "--json").json["site"]["area_m2"] == 120
    assert run("advise", "bindii", "--month", "7", "--cover", "20 %", "--json").json["case"]["cover"] == 20
    reading = ("--temperature", "20 C", "--humidity", "55%", "--wind", "8 km/h")
    assert (
        run("window", *reading, "--json").json
        == run("window", "--temperature", "20", "--humidity", "55", "--wind", "8", "--json").json
    )
