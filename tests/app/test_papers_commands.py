"""The commands `key` and `print` as people type them."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import typer
from pypdf import PdfReader

from app.commands.print_key import key as key_command
from app.commands.print_papers import papers
from app.records import Client, FollowUp, KeptFinding, Product, Site, Visit, open_records
from model.control import Control
from model.errors import AnswerError, SwardkeyError
from model.identify import Key

cli = typer.Typer()
cli.command("key")(key_command)
cli.add_typer(papers, name="print")


def run(*arguments: str) -> None:
    cli(list(arguments), standalone_mode=False)


@pytest.fixture
def at_hand(key: Key, control: Control, monkeypatch: pytest.MonkeyPatch) -> None:
    """The key and the advice that all tests share, so that files are not parsed anew each time."""
    monkeypatch.setattr("app.services.knowledge.load_key", lambda: key)
    monkeypatch.setattr("app.services.knowledge.load_advice", lambda: control)


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
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    run("key", "--month", "6")
    out = capsys.readouterr().out
    assert "How is one whole leaf built?" in out and "Soliva sessilis" in " ".join(out.split())
    assert "Left out, as they cannot be seen in June" in out
    pdf = tmp_path / "key.pdf"
    run("key", "--json", "--pdf", str(pdf))
    told = json.loads(capsys.readouterr().out)
    assert told["figures"]["reached"] == told["figures"]["species"] and told["file"] == str(pdf)
    assert len(told["couplets"]) == told["figures"]["couplets"]
    assert "Which weed is it?" in text_of(pdf)


@pytest.mark.usefixtures("at_hand")
def test_the_papers_of_a_visit(visit: int, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for command in ("advice", "job"):
        file = tmp_path / f"{command}.pdf"
        run("print", command, "--visit", str(visit), "--out", str(file), "--maker", "Own Lawns")
        assert "Soliva sessilis" in text_of(file) and "12 Wattle Street" in text_of(file)
    record = tmp_path / "record.pdf"
    run("print", "record", "1", "--out", str(record), "--json")
    assert "=label" in text_of(record)
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["bytes"] == record.stat().st_size
    run("print", "calendar", "--out", str(tmp_path / "due.ics"))
    assert b"SUMMARY:look again" in (tmp_path / "due.ics").read_bytes()
    for table in ("treatments", "findings"):
        run("print", "csv", table, "--out", str(tmp_path / f"{table}.csv"))
    assert "'=label" in (tmp_path / "treatments.csv").read_text(encoding="utf-8-sig")
    assert "soliva_sessilis" in (tmp_path / "findings.csv").read_text(encoding="utf-8-sig")
    for name in ("found.csv", "found.zip"):
        run("print", "findings", "--out", str(tmp_path / name), "--licence", "cc-by", "--by", "Own Lawns")
        assert (tmp_path / name).stat().st_size > 100


@pytest.mark.usefixtures("at_hand")
def test_only_groups_used_before_the_visit_count_against_its_plan(visit: int, tmp_path: Path) -> None:
    with open_records() as records:
        made = records.new_treatment(visit)
        records.add_treatment(replace(made, products=(Product("own", groups=(4,)),)))
        earlier = records.add_visit(Visit(1, date(2026, 3, 1), "R. Grower"))
        records.add_treatment(replace(records.new_treatment(earlier.id), products=(Product("old", groups=(6,)),)))
    out = tmp_path / "job.pdf"
    run("print", "job", "--visit", str(visit), "--out", str(out))
    assert "Group 6 was used here before" in text_of(out) and "Group 4 was used" not in text_of(out)
    run("print", "job", "--visit", str(visit), "--do", "mend", "--out", str(out))
    assert "Cultural control" in text_of(out), "by what it was called before"


@pytest.mark.usefixtures("at_hand")
def test_advice_without_a_visit_by_name_and_answers(tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text("seed_wings: broad\nleaf_build: finely_cut\nspines: on_fruit\nflower_build: button\n")
    out = tmp_path / "advice.pdf"
    run("print", "advice", "bindii", "--answers", str(answers), "--month", "6", "--lawn", "Buffalo", "--out", str(out))
    assert "Evidence for it" in text_of(out)
    # With too little to go by no plant is put on paper, however it is asked for.
    answers.write_text("leaf_build: simple\n")
    for named in ([], ["bindii"]):
        with pytest.raises(AnswerError, match="puts no plant in front yet; answer more"):
            run("print", "advice", *named, "--answers", str(answers), "--month", "6", "--out", str(out))


@pytest.mark.usefixtures("at_hand")
@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["key", "--pdf", "key.txt"], "must end in .pdf"),
        (["key", "--pdf", "/nowhere/at/all/key.pdf"], "there is no folder"),
        (["print", "advice", "--out", "a.pdf"], "no weed was named"),
        (["print", "advice", "bindii", "--out", "a.pdf"], "--month was not given"),
        (["print", "advice", "bindi", "--month", "6", "--out", "a.pdf"], "bind"),
        (["print", "advice", "--visit", "99", "--out", "a.pdf"], "no visit 99"),
        (["print", "record", "99", "--out", "a.pdf"], "no treatment 99"),
        (["print", "job", "--visit", "1", "--do", "hnad", "--out", "a.pdf"], "did you mean hand"),
        (["print", "csv", "visits", "--out", "a.csv"], "TABLE visits"),
        (["print", "findings", "--out", "a.zip", "--licence", "mine", "--by", "me"], "choose one of CC0"),
        (["print", "calendar", "--out", "a.txt"], "must end in .ics"),
    ],
)
def test_bad_input_gets_one_sentence_and_writes_nothing(
    visit: int, arguments: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SwardkeyError, match=told) as raised:
        run(*arguments)
    assert "\n" not in str(raised.value)
    assert not [path for path in tmp_path.iterdir() if path.suffix in (".pdf", ".csv", ".zip", ".ics", ".txt")]
