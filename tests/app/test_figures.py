"""The year of a weed and the hours of a day as pictures: nothing is cut off, and they say what they are of."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from app.figures.picture import STYLE
from app.figures.spray_hours import draw_hours, hours_figure, in_words
from app.figures.year_strip import draw_year, strip_rows
from model.control import Control, Year
from model.control.year import ALL_YEAR
from model.spray import Day, Occasion, Spray, judge_day, load_rules, read_forecast

SVG = "{http://www.w3.org/2000/svg}"
ABOUT = "New South Wales, 9 June 2026: bromoxynil + MCPA (groups 6 and 4)"


@pytest.fixture
def day(tmp_path: Path) -> Day:
    file = tmp_path / "day.csv"
    rows = "".join(f"{hour},20,60,8\n" for hour in range(6, 20))
    file.write_text("time,temperature,humidity,wind\n" + rows, encoding="utf-8")
    return judge_day(read_forecast(file), load_rules(), [Spray("MCPA", None)], Occasion(sunrise=6, sunset=18))


def test_the_outlines_of_january_and_december_are_as_wide_as_all_others(control: Control, tmp_path: Path) -> None:
    year = Year("soliva_sessilis", {"germinates": (), "flowers": ALL_YEAR, "seeds": ()}, {})
    assert len(strip_rows(control, year)) == 1
    draw_year(control, [year], tmp_path / "year.png")
    with Image.open(tmp_path / "year.png") as picture:
        drawn = np.asarray(picture.convert("RGB")).astype(int)
    yellow = (drawn[:, :, 2] < 80) & (drawn[:, :, 0] > 200)
    middle = int(np.median(np.nonzero(yellow.any(axis=1))[0]))
    columns = np.nonzero(yellow[middle])[0]
    # Dark columns between two months, and beside the first and the last.
    dark = drawn[middle].sum(axis=1) < 400
    between = np.nonzero(np.diff(columns) > 1)[0]
    widths = [columns[i + 1] - columns[i] - 1 for i in between]
    assert len(widths) == 11
    right, left = columns[-1] + 1, columns[0] - 1
    ends = (int(np.argmin(dark[right:])), int(np.argmin(dark[left::-1])))
    assert min(ends) >= min(widths), (ends, widths)
    assert drawn.shape[1] - right > ends[0], "something of the margin is left"


def test_a_forecast_is_headed_by_place_date_and_actives(day: Day, tmp_path: Path) -> None:
    draw_hours(day, load_rules(), tmp_path / "day.svg", ABOUT)
    root = ET.parse(tmp_path / "day.svg").getroot()
    written = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
    for words in ("New South Wales, 9 June 2026:", "bromoxynil + MCPA", "(groups 6 and 4)"):
        assert words in written
    told = root.find(f"{SVG}desc")
    assert told is not None and told.text == in_words(day, ABOUT) == f"{ABOUT}. {in_words(day)}"


@pytest.mark.parametrize("about", ["", "NSW", ABOUT, "halosulfuron" * 9, "M. Cost $5 & $6 <b>, " * 4])
def test_a_heading_of_any_length_stays_in_the_picture(day: Day, about: str) -> None:
    from matplotlib import rc_context

    with rc_context(STYLE):
        figure = hours_figure(day, load_rules(), about)
        figure.savefig(io.BytesIO(), format="png", dpi=100)
        heading = figure.get_suptitle()
        assert "".join(heading.split()) == "".join(about.split())
        if figure._suptitle is not None:
            box, legend = figure._suptitle.get_window_extent(), figure.axes[0].get_legend().get_window_extent()
            assert box.x0 >= 0 and box.y0 >= legend.y1 - 1
            assert box.x1 <= figure.bbox.x1
