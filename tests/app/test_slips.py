"""`slips`: rates fitted to the plants in the records, used from the next start on, and taken back."""

from __future__ import annotations

import json

import pytest

from app.command_line import main
from app.records import KeptFinding, open_records
from app.services.home import slips_file
from app.services.knowledge import load_key
from tests.app.record_book import keep_some


def run(*words: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["slips", *words])
    return int(ended.value.code or 0)


def confirmed(count: int, said: str) -> None:
    """So many dandelions, confirmed by a person, whose flower was said to be this."""
    with open_records() as records:
        kept = keep_some(records)
        for number in range(count):
            answers = {"flower_build": [said], "no_such_character": ["any"], "plant_height": 12.0}
            by = "Kim" if number % 2 else ""
            found = KeptFinding(kept.visit, {}, "confirmed", "taraxacum_officinale", 0.97, answers, confirmed_by=by)
            records.add_finding(found)


def test_too_few_plants_are_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    confirmed(5, "daisy")
    assert run() == 2
    said = capsys.readouterr().err
    assert "5 confirmed plants" in said and "30 are needed" in said and not slips_file().exists()


def test_fitted_rates_are_told_used_and_taken_back(capsys: pytest.CaptureFixture[str]) -> None:
    confirmed(60, "daisy")
    before = load_key().likelihoods.tables["flower_build"]
    row = load_key().index["taraxacum_officinale"]
    assert run("--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["plants"] >= 60 and not told["in_use"] and not slips_file().exists()
    mistaken = next(r for r in told["rates"] if (r["shown"], r["named"]) == ("dandelion", "daisy"))
    assert mistaken["after"] > 3 * mistaken["before"]

    assert run("--use") == 0
    assert "flower build" in capsys.readouterr().out
    after = load_key().likelihoods.tables["flower_build"]
    assert after.likelihood(("daisy",))[row] > 3 * before.likelihood(("daisy",))[row]
    # The next fit begins again with the rates that came with the tool, not with the last fit.
    assert run("--json") == 0
    assert json.loads(capsys.readouterr().out)["rates"] == told["rates"]

    assert run("--drop") == 0 and not slips_file().exists()
    assert "came with the tool" in capsys.readouterr().out
    again = load_key().likelihoods.tables["flower_build"]
    assert (again.rows == before.rows).all()


def test_a_spoilt_file_of_rates_is_a_sentence_and_dropping_mends_it(capsys: pytest.CaptureFixture[str]) -> None:
    slips_file().parent.mkdir(parents=True, exist_ok=True)
    slips_file().write_text("plants: many\n", encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["identify", "--answers", "sample_images/dandelion_answers.yaml"])
    assert ended.value.code == 2 and "slips.yaml" in capsys.readouterr().err
    assert run("--use", "--drop") == 2
    assert run("--drop") == 0
