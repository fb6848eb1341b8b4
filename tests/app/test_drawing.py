"""`swardkey draw`: a picture for anyone, and one sentence for a slip."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from tests.app.conftest import Run


def test_draws_a_picture_that_says_it_is_drawn(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "a.png"
    found = run("draw", "dandelion", "--seed", 3, "--side", 96, "--out", out, "--json").json
    assert found["species"] == "taraxacum_officinale" and found["drawn"] is True
    with Image.open(out) as picture:
        assert picture.size == (96, 96)
    assert not list(tmp_path.glob("*.new")), "no temporary file is left"


@pytest.mark.parametrize(
    ("species", "options", "says"),
    [
        ("dandylyon", (), "'dandylyon' is not in the flora; did you mean dandelion"),
        ("milk thistle", (), "'milk thistle' may be any of several plants"),
        ("dandelion", ("--out", "a.gif"), "must end in .jpg or .jpeg or .png"),
        ("dandelion", ("--out", "none/a.jpg"), "there is no folder"),
        ("dandelion", ("--stage", "flowring"), "did you mean flowering?"),
        ("moss", (), "moss is not drawn, because mosses are many species"),
        ("dandelion", ("--portrait", "--ground", "soil"), "leave out --ground"),
        ("plain_lawn", ("--portrait",), "name a plant"),
    ],
)
def test_a_slip_is_one_sentence(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, species: str, options: tuple[str, ...], says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert says in run("draw", species, "--side", 64, *options).refusal


def test_a_portrait_is_one_plant_on_plain_paper_with_a_scale(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "a.png"
    said = run("draw", "soursob", "--portrait", "--side", 200, "--out", out).out
    assert said.startswith("oxalis_pes_caprae (seed 1): one plant, flowering\n")
    with Image.open(out) as picture:
        pixels = picture.convert("RGB").load()
    assert pixels is not None
    corners = [pixels[x, y] for x in (0, 199) for y in (0, 199)]
    assert len(set(corners)) == 1, "paper all around"
    found = [pixels[x, y] for x in range(200) for y in range(200)]
    assert sum(r > 180 and g > 160 and b < 90 for r, g, b in found) > 100, "yellow flowers"
    foot = [pixels[x, y] for x in range(80) for y in range(180, 195)]
    assert (60, 60, 60) in foot, "a scale at its foot"
