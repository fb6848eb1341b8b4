"""`slips`: rates fitted to the plants in the records, used from the next start on, and taken back."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from app.records import KeptFinding, open_records
from app.services.home import home, slips_file
from app.services.knowledge import load_key
from tests.app.conftest import Run
from tests.app.record_book import keep_some


def confirmed(count: int, said: str) -> None:
    """So many dandelions, confirmed by a person, whose flower was said to be this."""
    with open_records() as records:
        kept = keep_some(records)
        for number in range(count):
            answers = {"flower_build": [said], "no_such_character": ["any"], "plant_height": 12.0}
            by = "Kim" if number % 2 else ""
            found = KeptFinding(kept.visit, {}, "confirmed", "taraxacum_officinale", 0.97, answers, confirmed_by=by)
            records.add_finding(found)


def test_too_few_plants_are_a_sentence(run: Run) -> None:
    confirmed(5, "daisy")
    refusal = run("slips").refusal
    assert "5 confirmed plants" in refusal and "30 are needed" in refusal and not slips_file().exists()


def test_fitted_rates_are_printed_used_and_taken_back(run: Run) -> None:
    confirmed(60, "daisy")
    before = load_key().likelihoods.tables["flower_build"]
    row = load_key().index["taraxacum_officinale"]
    found = run("slips", "--json").json
    assert found["plants"] >= 60 and not found["in_use"] and not slips_file().exists()
    mistaken = next(r for r in found["rates"] if (r["shown"], r["named"]) == ("dandelion", "daisy"))
    assert mistaken["after"] > 3 * mistaken["before"]

    assert "flower build" in run("slips", "--use").out
    after = load_key().likelihoods.tables["flower_build"]
    assert after.likelihood(("daisy",))[row] > 3 * before.likelihood(("daisy",))[row]
    # The next fit begins again with the shipped rates, not with the last fit.
    assert run("slips", "--json").json["rates"] == found["rates"]

    assert "shipped rates" in run("slips", "--drop").out and not slips_file().exists()
    again = load_key().likelihoods.tables["flower_build"]
    assert (again.rows == before.rows).all()


def test_a_spoilt_file_of_rates_is_a_sentence_and_dropping_fixes_it(run: Run) -> None:
    slips_file().parent.mkdir(parents=True, exist_ok=True)
    slips_file().write_text("plants: many\n", encoding="utf-8")
    assert "slips.yaml" in run("identify", "--answers", "sample_images/dandelion_answers.yaml").refusal
    assert "contradict each other" in run("slips", "--use", "--drop").refusal
    assert run("slips", "--drop").status == 0 and not slips_file().exists()


def test_rates_in_use_are_in_the_backup_and_come_back(run: Run, tmp_path: Path) -> None:
    confirmed(60, "daisy")
    run("backup", tmp_path / "before.zip")
    run("slips", "--use")
    used = slips_file().read_bytes()
    run("backup", tmp_path / "with.zip")
    run("slips", "--drop")
    assert "restored" in run("restore", tmp_path / "with.zip", "--yes").out and slips_file().read_bytes() == used
    assert "it has nothing of slips, which stays as it is" in run("restore", tmp_path / "before.zip", "--yes").out
    assert slips_file().read_bytes() == used


def test_rates_of_an_earlier_version_move_to_where_backups_take_them(run: Run, tmp_path: Path) -> None:
    confirmed(60, "daisy")
    run("slips", "--use")
    former = home() / "slips.yaml"
    slips_file().rename(former)
    (home() / "slips").rmdir()
    assert slips_file() == former, "on a disk that cannot be written it is read where it lies"
    with zipfile.ZipFile(Path(run("backup", tmp_path / "b.zip", "--json").json["file"])) as archive:
        assert "slips/slips.yaml" in archive.namelist()
    assert not former.exists()


@pytest.mark.parametrize("after", ["-0.5", ".nan", ".inf", "0", "1"])
def test_a_rate_that_is_no_share_is_a_sentence_that_says_how_to_go_back(run: Run, after: str) -> None:
    slips_file().parent.mkdir(parents=True, exist_ok=True)
    rate = f"{{character: flower_build, shown: dandelion, named: daisy, before: 0.1, after: {after}, seen: 9}}"
    slips_file().write_text(f"plants: 30\nrates: [{rate}]\n", encoding="utf-8")
    assert "swardkey slips --drop" in run("identify", "--answers", "sample_images/dandelion_answers.yaml").refusal


@pytest.mark.parametrize("lies", ["slips.yaml", "slips"])
def test_what_lies_in_the_place_of_the_rates_is_a_sentence(run: Run, lies: str) -> None:
    """A folder where the file should be, and a file where its folder should be."""
    slips_file().parent.parent.mkdir(parents=True, exist_ok=True)
    slips_file().mkdir(parents=True) if lies == "slips.yaml" else slips_file().parent.write_text("mine")
    assert "move what is in its place elsewhere" in run("slips", "--drop").refusal
