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
        ("dandelion", ("--out", "a.gif"), "not a .jpg or .png"),
        ("dandelion", ("--out", "none/a.jpg"), "there is no folder"),
        ("dandelion", ("--stage", "flowring"), "did you mean flowering?"),
    ],
)
def test_a_slip_is_one_sentence(
    run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, species: str, options: tuple[str, ...], says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert says in run("draw", species, "--side", 64, *options).refusal
