"""Line drawings beside the questions: all there, unlike each other, small, quick, and clear without colour."""

from __future__ import annotations

import itertools
import re
import time
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import cv2
import numpy as np
import pytest

from model.errors import FloraError, SwardkeyError
from model.flora.character import PARTS
from model.flora.load import load_characters
from training.drawn.line import draw_ruler, draw_state, draw_visible, text_alternative
from training.drawn.line.canvas import PALE, THIN, Sketch
from training.drawn.line.ruler import longest
from training.drawn.line.sheet import main as sheet_main
from training.drawn.line.states import figures
from training.drawn.line.stored import RULER, VISIBLE, drawings, path_of, read_drawing, stored

CHARACTERS = load_characters()
CHOICES = {name: character for name, character in CHARACTERS.items() if character.kind == "choice"}
NUMBERS = {name: character for name, character in CHARACTERS.items() if character.kind != "choice"}
STATES = [(name, state) for name, character in CHOICES.items() for state in character.states]
FILES = [(name, state) for name, states in drawings().items() for state in states]
SIDE = 96  # px: the smallest at which the drawings are shown
# Share of the pixels (of 96 by 96) that two states of one character must differ in, by more than a quarter of
# black. The least that was measured over all 813 pairs is 0.032 (awns: none and short).
LEAST_DIFFERENCE = 0.03
SVG = "{http://www.w3.org/2000/svg}"


def pieces(path: str) -> list[np.ndarray]:
    """The polygons and lines of path data as our canvas writes it: M, then relative steps."""
    found = []
    for piece in re.findall(r"M([^M]+)", path):
        start, steps = piece.rstrip("z").split("l")
        numbers = [int(n) for n in re.findall(r"-?\d+", f"{start} {steps}")]
        points = np.cumsum(np.array(numbers).reshape(-1, 2), axis=0)
        found.append(np.concatenate([points, points[:1]]) if piece.endswith("z") else points)
    return found


def raster(svg: str) -> np.ndarray:
    """The drawing as a picture of 96 by 96 (0 ground to 1 black), drawn at four times the size."""
    scale, fine = 4, 16
    canvas = np.zeros((SIDE * scale, SIDE * scale), np.float32)
    for path in ElementTree.fromstring(svg).iter(f"{SVG}path"):
        lines = [
            np.rint(points * (SIDE * scale / 1000 * fine)).astype(np.int32) for points in pieces(path.get("d", ""))
        ]
        layer = np.zeros_like(canvas)
        if path.get("fill"):
            cv2.fillPoly(layer, lines, float(path.get("fill-opacity", "1")), cv2.LINE_8, 4)
        else:
            width = max(1, round(float(path.get("stroke-width", "0")) * SIDE * scale / 1000))
            cv2.polylines(layer, lines, False, 1.0, width, cv2.LINE_8, 4)
        canvas = np.maximum(canvas, layer)
    return cv2.resize(canvas, (SIDE, SIDE), interpolation=cv2.INTER_AREA)


def difference(one: np.ndarray, other: np.ndarray) -> float:
    """Share of pixels in which two pictures differ by more than a quarter of black."""
    return float((np.abs(one - other) > 0.25).mean())


def test_every_state_of_every_choice_is_drawn() -> None:
    for name, state in STATES:
        ink = raster(draw_state(name, state))
        assert (ink > 0.5).mean() > 0.02, f"{name}: {state} is almost empty"
        # Stems may run out of the square, what matters may not fill it to the last pixel.
        assert (ink > 0.5).mean() < 0.55, f"{name}: {state} is almost black"


def test_nothing_is_drawn_for_states_that_are_not_there() -> None:
    computed = {(name, state) for name, states in figures().items() for state in states}
    filed = {(name, state) for name, state in FILES if name != VISIBLE and state != RULER}
    assert computed | filed == set(STATES)
    assert {name for name, state in FILES if state == RULER} <= set(NUMBERS)
    assert set(drawings()[VISIBLE]) == set(PARTS)


def test_two_states_of_one_character_never_look_alike() -> None:
    close = []
    for name, character in CHOICES.items():
        pictures = {state: raster(draw_state(name, state)) for state in character.states}
        for one, other in itertools.combinations(pictures, 2):
            far = difference(pictures[one], pictures[other])
            if far < LEAST_DIFFERENCE:
                close.append(f"{name}: {one} and {other} differ in {far:.3f} of the pixels")
    assert not close, "\n".join(close)


def test_every_number_and_month_has_a_figure_with_numbers() -> None:
    for name, character in NUMBERS.items():
        drawing = ElementTree.fromstring(draw_ruler(name))
        told = [text.text or "" for text in drawing.iter(f"{SVG}text")]
        assert len(told) >= 3 and all(re.fullmatch(r"[\d.]+", word) for word in told), name
        if character.unit in ("mm", "cm"):
            assert float(told[0]) == 0 and float(told[-1]) == longest(character), name


def test_rulers_end_within_what_is_believed() -> None:
    for character in NUMBERS.values():
        if character.domain:
            low, high = character.domain
            assert low < longest(character) <= high, character.id
    assert longest(CHARACTERS["leaf_length"]) == 50


def all_drawings() -> dict[str, str]:
    drawn = {f"{name}: {state}": draw_state(name, state) for name, state in STATES}
    drawn |= {f"{VISIBLE}: {part}": draw_visible(part) for part in PARTS}
    return drawn | {name: draw_ruler(name) for name in NUMBERS}


def test_drawings_are_valid_small_and_have_no_colour_and_no_words() -> None:
    fills = set()
    for name, svg in all_drawings().items():
        assert len(svg.encode()) < 12_000, f"{name} has {len(svg)} bytes"
        drawing = ElementTree.fromstring(svg)
        assert drawing.get("viewBox") == "0 0 1000 1000", name
        assert not re.search(r"#[0-9a-fA-F]{3}|rgb|hsl|style=|href|<script", svg), name
        for element in drawing.iter():
            assert element.tag in {f"{SVG}{kind}" for kind in ("svg", "title", "desc", "path", "text")}, name
            assert element.get("stroke", "none") in ("none", "currentColor"), name
            fills.add((element.get("fill"), element.get("fill-opacity")))
            if element.tag == f"{SVG}text":
                assert re.fullmatch(r"[\d.]+", element.text or ""), f"{name}: {element.text}"
    assert fills <= {(None, None), ("none", None), ("currentColor", None), ("currentColor", "0.15")}


def test_each_has_its_own_title_in_one_sentence() -> None:
    seen = set()
    for name, svg in all_drawings().items():
        drawing = ElementTree.fromstring(svg)
        title = drawing.find(f"{SVG}title")
        assert title is not None and title.get("id") == drawing.get("aria-labelledby"), name
        words = title.text or ""
        assert re.fullmatch(r"[A-Z][^.!?]*\.", words) and len(words) < 220, f"{name}: {words}"
        assert words not in seen, f"{name}: {words} is said twice"
        seen.add(words)


def test_the_sentence_holds_the_words_of_the_state() -> None:
    for name, state in STATES:
        assert CHARACTERS[name].states[state] in text_alternative(name, state)
    assert "grapes" in text_alternative("flower_colour", "purple")
    assert "mm" in text_alternative("leaf_length")


def test_drawings_are_the_same_every_time() -> None:
    first = all_drawings()
    draw_state.cache_clear()
    draw_ruler.cache_clear()
    stored.cache_clear()
    assert first == all_drawings()


def test_each_drawing_takes_less_than_twenty_milliseconds() -> None:
    spent: dict[tuple[str, str], list[float]] = {}
    for _ in range(3):  # the quickest of three: another program may hold one of them up
        draw_state.cache_clear()
        for name, state in STATES:
            start = time.process_time()
            draw_state(name, state)
            spent.setdefault((name, state), []).append(time.process_time() - start)
    slow = {state: min(times) for state, times in spent.items() if min(times) > 0.02}
    assert not slow


def test_what_is_asked_for_stands_out_by_a_bold_stroke_or_by_black() -> None:
    for name, state in STATES:
        drawing = ElementTree.fromstring(draw_state(name, state))
        paths = list(drawing.iter(f"{SVG}path"))
        heaviest = max(float(path.get("stroke-width", "0")) for path in paths)
        black = any(path.get("fill") == "currentColor" and not path.get("fill-opacity") for path in paths)
        assert heaviest > 1.2 * THIN * 10 or black, f"{name}: {state} has nothing that stands out"


def test_files_are_written_as_ours_are_and_refer_to_nothing() -> None:
    """So that the pages can hold them as they are, and that ``raster`` above sees all of them."""
    allowed = {
        "svg": "viewBox width height role aria-labelledby fill stroke stroke-linecap stroke-linejoin",
        "title": "id",
        "desc": "id",
        "path": "d stroke-width fill fill-opacity stroke",
        "text": "x y font-size text-anchor font-family font-weight fill stroke",
    }
    assert FILES
    for name, state in FILES:
        text = path_of(name, state).read_text(encoding="utf-8")
        assert text.startswith("<svg ") and text.endswith("</svg>\n") and text.isascii(), f"{name}: {state}"
        assert not re.search(r"<!|<\?|&#|url|javascript|\bon\w+=", text), f"{name}: {state}"
        assert text.count("://") == 1, f"{name}: {state} refers to more than the name of SVG"
        for element in ElementTree.fromstring(text).iter():
            known = allowed[element.tag.removeprefix(SVG)].split()
            assert set(element.attrib) <= set(known), f"{name}: {state} has {set(element.attrib) - set(known)}"
            if element.tag == f"{SVG}path":
                assert re.fullmatch(r"(M-?\d+ -?\d+l-?\d+(?: ?-?\d+)*z?)+", element.get("d", "")), f"{name}: {state}"
                assert 9 <= float(element.get("stroke-width", "9")) <= 55, f"{name}: {state}"


def test_files_have_ids_of_their_own_that_tell_where_they_belong() -> None:
    for name, state in FILES:
        drawing = ElementTree.fromstring(read_drawing(path_of(name, state))[0])
        expected = f"ruler-{name}" if state == RULER else f"drawing-{name}-{state}"
        assert drawing.get("aria-labelledby") == expected and drawing.get("role") == "img", f"{name}: {state}"
        if name != VISIBLE:
            assert read_drawing(path_of(name, state))[1] == text_alternative(name, None if state == RULER else state)


def test_a_file_goes_before_what_is_computed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "ligule" / "hairs.svg"
    file.parent.mkdir()
    file.write_text('<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"><desc>By\n hand.</desc></svg>\n')
    found = drawings(tmp_path)
    monkeypatch.setattr("training.drawn.line.stored.drawings", lambda: found)
    stored.cache_clear()
    draw_state.cache_clear()
    drawn, words = draw_state("ligule", "hairs"), text_alternative("ligule", "hairs")
    computed = draw_state("ligule", "membrane")
    stored.cache_clear()
    draw_state.cache_clear()
    assert drawn == '<svg xmlns="http://www.w3.org/2000/svg"><desc>By\n hand.</desc></svg>' and words == "By hand."
    assert "<path" in computed


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("<svg", "cannot be read as SVG"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><title> </title></svg>', "has no text alternative"),
        ('<s:svg xmlns:s="http://www.w3.org/2000/svg"><s:title>A.</s:title></s:svg>', "without a prefix"),
    ],
)
def test_a_wrong_file_is_named(tmp_path: Path, text: str, cause: str) -> None:
    file = tmp_path / "wrong.svg"
    file.write_text(text)
    with pytest.raises(FloraError, match=f"wrong.svg: .*{cause}"):
        read_drawing(file)


def test_what_lies_in_front_hides_what_lies_behind() -> None:
    sketch = Sketch()
    sketch.line([[0, 50], [100, 50]], 2)
    sketch.area([[40, 40], [60, 40], [60, 60], [40, 60]], 1, PALE)
    picture = raster(sketch.svg("A square before a line.", "x"))
    assert picture[48, 10] > 0.9 and picture[48, 48] == pytest.approx(0.15, abs=0.01)


@pytest.mark.parametrize(
    ("character", "state", "cause"),
    [
        ("leaf_hair", "none", "did you mean leaf_hairs"),
        ("leaf_hairs", "wolly", "did you mean woolly"),
        ("leaf_length", "long", "is a number"),
    ],
)
def test_unknown_names_end_in_one_sentence(character: str, state: str, cause: str) -> None:
    for ask in (draw_state, text_alternative):
        with pytest.raises(SwardkeyError, match=cause):
            ask(character, state)


def test_rulers_are_refused_for_choices_and_unknown_names() -> None:
    with pytest.raises(SwardkeyError, match="is a choice"):
        draw_ruler("leaf_edge")
    with pytest.raises(SwardkeyError, match="did you mean leaf_width"):
        draw_ruler("leaf_widht")
    with pytest.raises(SwardkeyError, match="did you mean flowers"):
        draw_visible("flower")


def test_a_state_without_a_drawing_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    from training.drawn.line import states

    monkeypatch.setattr(states, "figures", lambda: {"ligule": {}})
    monkeypatch.setattr(states, "stored", lambda *_: None)
    draw_state.cache_clear()
    with pytest.raises(SwardkeyError, match="ligule: hairs has no drawing yet"):
        draw_state("ligule", "hairs")
    draw_state.cache_clear()


def test_the_sheet_holds_all_of_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "sheet.html"
    assert sheet_main([str(out)]) == 0
    page = out.read_text(encoding="utf-8")
    assert page.count("<svg") == len(STATES) + len(NUMBERS) + len(PARTS)
    assert sheet_main([]) == 2
    assert sheet_main([str(tmp_path / "none" / "sheet.html")]) == 2
    assert "sheet.html" in capsys.readouterr().err
