"""`swardkey draw`: a picture for anyone, and one sentence for a slip."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from app.commands.draw import draw, save_picture
from model.errors import SwardkeyError
from model.identify import Key

app = typer.Typer()
app.command()(draw)


def test_draws_a_picture_that_says_it_is_drawn(tmp_path: Path) -> None:
    out = tmp_path / "a.png"
    done = CliRunner().invoke(app, ["dandelion", "--seed", "3", "--side", "96", "--out", str(out), "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["species"] == "taraxacum_officinale" and told["drawn"] is True
    with Image.open(out) as picture:
        assert picture.size == (96, 96)
    assert not list(tmp_path.glob("*.new")), "no temporary file is left"


def test_a_slip_is_one_sentence(key: Key, tmp_path: Path) -> None:
    with pytest.raises(SwardkeyError, match="'dandelyon' is not in the flora; did you mean dandelion"):
        draw("dandelyon")
    with pytest.raises(SwardkeyError, match="'milk thistle' may be any of several plants"):
        draw("milk thistle")
    with pytest.raises(SwardkeyError, match=r"not a \.jpg or \.png"):
        save_picture(Image.new("RGB", (8, 8)), tmp_path / "a.gif")
    with pytest.raises(SwardkeyError, match="there is no folder"):
        save_picture(Image.new("RGB", (8, 8)), tmp_path / "none" / "a.jpg")
    done = CliRunner().invoke(app, ["dandelion", "--stage", "flowring", "--out", str(tmp_path / "a.jpg")])
    assert isinstance(done.exception, SwardkeyError) and "flowering" in str(done.exception)
