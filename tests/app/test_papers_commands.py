"""The commands `key` and `print` as people type them."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.commands.print_papers import papers as commands
from app.papers.visit_paper import TITLES
from app.records import Client, FollowUp, KeptFinding, Product, Site, Visit, open_records
from app.services.knowledge import printed_key
from tests.app.conftest import Run


@pytest.fixture
def visit() -> int:
    with open_records() as records:
        client = records.add_client(Client("M. Example"))
        site = records.add_site(Site(client.id, "12 Wattle Street", "NSW", "buffalo", ("pets",), 220.0, -33.905, 151.2))
        kept = records.add_visit(Visit(site.id, date(2026, 6, 9), "R. Grower"))
        found = KeptFinding(kept.id, {}, "confirmed", "soliva_sessilis", 0.97, {"seed_wings": ["broad"]})
        records.add_finding(found)
        records.add_treatment(replace(records.new_treatment(kept.id), products=(Product("=label"),)))
        records.add_follow_up(FollowUp(site.id, date(2026, 6, 23), "look again", kept.id))
        return kept.id


def text_of(file: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(file).pages).split())


def test_the_key_is_printed_in_the_terminal_as_json_and_as_pdf(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = printed_key(6)
    monkeypatch.setattr("app.commands.print_key.printed_key", {6: made}.__getitem__)
    out = run("key", "--month", "6").out
    assert "How is one whole leaf built?" in out and "Soliva sessilis" in " ".join(out.split())
    assert "Left out, as they cannot be seen in June" in out
    pdf = tmp_path / "key.pdf"
    found = run("key", "--month", "6", "--json", "--pdf", pdf).json
    assert set(found) == {"month", "figures", "out_of_season", "names_only", "couplets", "file"}
    assert found["figures"]["reached"] == found["figures"]["species"] and found["file"] == str(pdf)
    assert len(found["couplets"]) == found["figures"]["couplets"]
    assert "Which weed is it, in June?" in text_of(pdf) and len(PdfReader(pdf).pages) <= 4


def test_the_papers_of_a_visit(run: Run, visit: int, tmp_path: Path) -> None:
    for command in ("advice", "job"):
        file = tmp_path / f"{command}.pdf"
        assert run("print", command, "--visit", visit, "--out", file, "--maker", "Own Lawns").out == f"{file}\n"
        assert "Soliva sessilis" in text_of(file) and "12 Wattle Street" in text_of(file)
    waits = run("print", "client", "--visit", visit, "--out", tmp_path / "client.pdf").refusal
    assert "treatment 1 is not signed yet" in waits and not (tmp_path / "client.pdf").exists()
    record = tmp_path / "record.pdf"
    assert run("print", "record", "1", "--out", record, "--json").json["bytes"] == record.stat().st_size
    assert "=label" in text_of(record)
    assert run("print", "calendar", "--out", tmp_path / "due.ics", "--json").json["follow_ups"] == 1
    assert b"SUMMARY:look again" in (tmp_path / "due.ics").read_bytes()
    for table, holds in (("treatments", "'=label"), ("findings", "soliva_sessilis")):
        run("print", "csv", table, "--out", tmp_path / f"{table}.csv")
        assert holds in (tmp_path / f"{table}.csv").read_text(encoding="utf-8-sig")
    for name in ("found.csv", "found.zip"):
        run("print", "findings", "--out", tmp_path / name, "--licence", "cc-by", "--by", "Own Lawns")
        assert (tmp_path / name).stat().st_size > 100


def test_a_paper_of_a_visit_loads_no_other_paper(visit: int, tmp_path: Path) -> None:
    arguments = ["print", "advice", "--visit", str(visit), "--out", str(tmp_path / "a.pdf")]
    ask = f"import sys; from app.command_line import main\ntry: main({arguments!r})\nfinally: print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True).stdout.split()
    others = ("client_sheet", "job_sheet", "record_sheet", "key_sheet", "darwin_core", "follow_ups", "reply_sheet")
    assert "app.papers.advice_sheet" in loaded and not {f"app.papers.{name}" for name in others} & set(loaded)
    assert set(TITLES) <= {command.callback.__name__ for command in commands.registered_commands if command.callback}


def test_only_groups_used_before_the_visit_count_against_its_plan(run: Run, visit: int, tmp_path: Path) -> None:
    with open_records() as records:
        made = records.new_treatment(visit)
        records.add_treatment(replace(made, products=(Product("own", groups=(4,)),)))
        earlier = records.add_visit(Visit(1, date(2026, 3, 1), "R. Grower"))
        records.add_treatment(replace(records.new_treatment(earlier.id), products=(Product("old", groups=(6,)),)))
    out = tmp_path / "job.pdf"
    run("print", "job", "--visit", visit, "--out", out)
    assert "Group 6 was used here before" in text_of(out) and "Group 4 was used" not in text_of(out)
    run("print", "job", "--visit", visit, "--do", "mend", "--out", out)
    assert "Cultural control" in text_of(out), "by what it was called before"


def test_advice_without_a_visit_by_name_and_answers(run: Run, tmp_path: Path) -> None:
    answers, out = tmp_path / "answers.yaml", tmp_path / "advice.pdf"
    more = ("--answers", answers, "--month", "6", "--out", out)
    answers.write_text("seed_wings: broad\nleaf_build: finely_cut\nspines: on_fruit\nflower_build: button\n")
    assert run("print", "advice", "bindii", "--lawn", "Buffalo", *more).status == 0
    assert "Evidence for it" in text_of(out)
    # With too little to go by no plant is put on paper, however it is asked for.
    answers.write_text("leaf_build: simple\n")
    for named in ([], ["bindii"]):
        assert "puts no plant in front yet; answer more" in run("print", "advice", *named, *more).refusal


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("key --pdf key.txt", "must end in .pdf"),
        ("key --pdf /nowhere/at/all/key.pdf", "there is no folder"),
        ("print advice --out a.pdf", "no weed was named"),
        ("print advice bnidee --month 6 --out a.pdf", "bind"),
        ("print advice --visit 99 --out a.pdf", "no visit 99"),
        ("print advice --visit 1 --lawn couch --used 4 --out a.pdf", "--used and --lawn given with --visit, which"),
        ("print advice bindii --together --out a.pdf", "two weeds or more"),
        ("print record 99 --out a.pdf", "no treatment 99"),
        ("print job --visit 1 --do hnad --out a.pdf", "did you mean hand"),
        ("print csv visits --out a.csv", "'visits'"),
        ("print findings --out a.zip --licence mine --by me", "choose one of CC0"),
        ("print calendar --out a.txt", "must end in .ics"),
    ],
)
def test_bad_input_gets_one_sentence_and_writes_nothing(
    run: Run, visit: int, line: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert says in run(*line.split()).refusal
    assert not [path for path in tmp_path.iterdir() if path.suffix in (".pdf", ".csv", ".zip", ".ics", ".txt")]


def test_a_job_sheet_takes_the_last_calculation_and_only_the_cautions_of_what_was_chosen(
    run: Run, visit: int, tmp_path: Path
) -> None:
    job = ("print", "job", "--visit", visit, "--out", tmp_path / "job.pdf")
    assert "do one with swardkey mix" in run(*job, "--last-sum").refusal
    run("mix", "tank", "--tank", "10", "--output", "200", "--rate", "5 L/ha", "--area", "120")
    run(*job, "--last-sum")
    said = text_of(tmp_path / "job.pdf")
    assert "Tank mix, worked out on" in said and "product in all 60 mL" in said
    run(*job, "--do", "hand")
    said = text_of(tmp_path / "job.pdf")
    assert "Hand removal" in said and "Poisons Information" not in said and "Licence" not in said


def test_an_advice_sheet_without_a_visit_has_the_day(run: Run, tmp_path: Path) -> None:
    run("print", "advice", "winter", "grass", "--out", tmp_path / "a.pdf")
    assert f"{date.today().day} {date.today():%B %Y}" in text_of(tmp_path / "a.pdf")


def test_the_advice_sheet_takes_groups_used_before_and_weeds_that_grow_together(run: Run, tmp_path: Path) -> None:
    sheet = ("print", "advice", "bindii", "winter", "grass", "--lawn", "couch", "--month", "7")
    run(*sheet, "--out", tmp_path / "one.pdf")
    one = text_of(tmp_path / "one.pdf")
    assert "Bindii or winter grass?" in one and "Group 4 was used" not in one
    run(*sheet, "--used", "4", "--together", "--out", tmp_path / "all.pdf")
    both = text_of(tmp_path / "all.pdf")
    assert "Bindii and winter grass" in both and "Group 4 was used here before" in both
