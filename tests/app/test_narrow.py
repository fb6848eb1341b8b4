"""Narrow terminals: whatever a command prints fits, and no name and no other word of it is cut."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from app.commands.learn_slips import print_rates
from app.commands.manage_models import print_accuracy
from app.present.show_records import show_list, site_line
from app.records import Site
from tests.app.conftest import Run
from tests.app.record_book import photo

BOOK = (
    'clients --add "Bartholomew Featherstone-Cholmondeley" --email bartholomew@example.com.au',
    'sites --client 1 --add "1234 Wollondilly-Queanbeyan Road, Upper Kangaroo Valley" --lawn couch --near pets',
    "visits --site 1 --add Kim --day 2026-07-06",
    'due --add "survivors of the treatment" --visit 1 --day 2026-07-20',
)
PRINTED = (
    "advise clover --lawn queensland_blue_couch --month 7",
    'advise bindii "winter grass" --together --month 1',
    "year winter grass",
    "records clients",
    "records sites",
    "records visits",
    "records due --day 2026-07-21",
    "records search Cholmondeley",
    "records show client 1",
    "records show site 1",
    "records show visit 1",
    "records show treatment 1",
    "records check",
    "models",
    "window --temperature 20 --humidity 55 --wind 8 --active MCPA --lawn queensland_blue_couch --hour 10",
    'mix tank --tank 10 --output 200 --rate "5 L/ha" --area 120',
    "label list",
    "settings",
    "where",
    "collect list",
    "identify --answers sample_images/dandelion_answers.yaml",
    "degree-days days.csv --base 10",
)


@pytest.fixture
def filled(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A book with a client, a site, a visit and a treatment; a collection; a label; and a file of temperatures."""
    for line in BOOK:
        assert run("records", *shlex.split(line)).status == 0
    (tmp_path / "t.yaml").write_text("products: [{name: as on my label, actives: dicamba}]\ngear: hand_spray\n")
    run("records", "treat", "1", tmp_path / "t.yaml")
    (tmp_path / "PHOTOS" / "alopecurus_myosuroides").mkdir(parents=True)
    photo(tmp_path / "PHOTOS" / "alopecurus_myosuroides" / "a.jpg")
    run("collect", "add", tmp_path / "PHOTOS", "--yes")
    run("label", "read", "MCPA", "--lawn", "zoysia", "--number", "12345", "--by", "Kim")
    (tmp_path / "days.csv").write_text("date,max,min\n" + "".join(f"2026-09-{day:02},22,9\n" for day in range(1, 31)))


def words(text: str) -> set[str]:
    return set(re.findall(r"[A-Za-z][\w'.@/-]+\w", text))


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize("command", PRINTED)
def test_it_fits_and_no_word_is_cut(
    run: Run, filled: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, width: int
) -> None:
    typed = shlex.split(command.replace("days.csv", str(tmp_path / "days.csv")))
    monkeypatch.setenv("COLUMNS", "1000")
    wide = run(*typed).out
    monkeypatch.setenv("COLUMNS", str(width))
    narrow = run(*typed).out
    assert wide and narrow.count("\u2026") == wide.count("\u2026")
    whole = {word for word in words(wide) if len(word) < width - 8}
    assert not whole - words(narrow), "cut in two"
    too_long = [line for line in narrow.splitlines() if len(line.rstrip()) > width]
    assert all(len(max(line.split(), key=len)) > width - 8 for line in too_long), too_long


def test_lists_are_whole_where_nobody_watches(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    site = Site(1, "1234 Wollondilly-Queanbeyan Road, Upper Kangaroo Valley", "NSW", "couch", ("pets", "pond"), id=7)
    monkeypatch.delenv("COLUMNS", raising=False)
    show_list("sites", [site], False, lambda one: site_line(one, {1: "Bartholomew Featherstone-Cholmondeley"}))
    assert capsys.readouterr().out.count("\n") == 1


def test_figures_of_a_model_and_of_slips_are_whole_at_forty_columns(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    figures = SimpleNamespace(
        photos=80, groups=9, top1=0.9, balanced_top1=0.8, top3=1.0, nll=0.4, ece=0.02, ece_null=0.03
    )
    row = SimpleNamespace(species="alopecurus_myosuroides", known=True, photos=40, recall=0.9, low=0.8, high=0.95)
    measured = SimpleNamespace(model="starter", figures=figures, sets=None, by_species=[row])
    found: Any = SimpleNamespace(measured=measured, plant_names={row.species: "subterranean clover"}, notes=())
    print_accuracy(found)
    rate: Any = SimpleNamespace(character="seed_structure", shown="winged_spine_seed", named="caltrop", before=0.02)
    rate.after = 0.2
    print_rates([rate], 60, False)
    said = capsys.readouterr().out
    assert {"subterranean", "interval", "winged_spine_seed", "structure", "question"} <= words(said)
    assert max(len(line.rstrip()) for line in said.splitlines()) <= 40
