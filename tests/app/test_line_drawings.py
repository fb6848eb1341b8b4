"""The line drawings beside the questions: all there, unlike each other, small, plain, and clear without colour."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.figures.line_drawings import FIGURES, RULER, SVG, Drawing, files, line_drawing, read_drawing
from model.errors import FloraError
from model.flora.character import PARTS, VISIBLE
from model.flora.load import load_characters

CHARACTERS = load_characters()
STATES = {name: list(c.states) for name, c in CHARACTERS.items() if c.kind == "choice"}
NUMBERS = {name: c for name, c in CHARACTERS.items() if c.kind != "choice"}
SIDE = 96  # px: the smallest at which the drawings are shown
# Share of the pixels (of 96 by 96) that two states of one character must differ in, by more than a quarter of
# black. The least over all pairs is 0.032 (awns: none and short).
LEAST_DIFFERENCE = 0.03
THIN = 14  # stroke width of what is not asked about
# No script, style, link or typeface of its own.
ALLOWED = {
    "svg": "viewBox width height role aria-labelledby fill stroke stroke-linecap stroke-linejoin",
    "title": "id",
    "desc": "id",
    "path": "d fill fill-opacity stroke stroke-width",
    "text": "x y font-size text-anchor font-family font-weight fill stroke",
}
NUMBERS_OF = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "Q": 4, "Z": 0}  # of each command of a path


def outlines(path: str) -> list[np.ndarray]:
    """The lines of path data, curves as sixteen short ones."""
    found: list[list[np.ndarray]] = []
    at = np.zeros(2)
    for command, told in re.findall(r"([MLHVCQZmlhvcqz])([^A-Za-z]*)", path):
        kind, numbers = command.upper(), [float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", told)]
        each = NUMBERS_OF[kind]
        assert len(numbers) % each == 0 if each else not numbers, f"{command}{told}"
        if kind == "Z":
            at = found[-1][0]
            found[-1].append(at)
        for k in range(0, len(numbers), each or 1):
            base = at if command.islower() else np.zeros(2)
            given = numbers[k : k + each]
            if kind in "HV":  # one coordinate, the other stays
                other = 0.0 if command.islower() else at["VH".index(kind)]
                given = [given[0], other] if kind == "H" else [other, given[0]]
            points = np.array(given).reshape(-1, 2) + base
            if kind == "M" and k == 0:
                found.append([points[0]])
            else:
                found[-1] += curve(at, points) if kind in "CQ" else [points[0]]
            at = points[-1]
    return [np.array(points) for points in found]


def curve(start: np.ndarray, points: np.ndarray) -> list[np.ndarray]:
    """A Bezier curve as sixteen points, by repeated halving between its control points."""
    found = []
    for share in np.linspace(0, 1, 17)[1:]:
        row = np.vstack([start, points])
        while len(row) > 1:
            row = row[:-1] + share * np.diff(row, axis=0)
        found.append(row[0])
    return found


def raster(svg: str) -> np.ndarray:
    """The drawing as a picture of 96 by 96 (0 ground to 1 black), drawn at four times the size."""
    scale, fine = 4, 16
    canvas = np.zeros((SIDE * scale, SIDE * scale), np.float32)
    for path in ElementTree.fromstring(svg).iter(f"{SVG}path"):
        lines = [np.rint(p * (SIDE * scale / 1000 * fine)).astype(np.int32) for p in outlines(path.get("d", ""))]
        layer = np.zeros_like(canvas)
        if path.get("fill", "none") != "none":
            cv2.fillPoly(layer, lines, float(path.get("fill-opacity", "1")), cv2.LINE_8, 4)
        if path.get("stroke") != "none":
            width = max(1, round(float(path.get("stroke-width", "1")) * SIDE * scale / 1000))
            cv2.polylines(layer, lines, False, 1.0, width, cv2.LINE_8, 4)
        canvas = np.maximum(canvas, layer)
    return cv2.resize(canvas, (SIDE, SIDE), interpolation=cv2.INTER_AREA)


@cache
def picture(name: str, state: str) -> np.ndarray:
    return raster(line_drawing(name, state).svg)


def not_plain(root: ElementTree.Element) -> Iterator[str]:
    """What a drawing may not hold, since it becomes part of a page as it is."""
    for element in root.iter():
        name = element.tag.removeprefix(SVG)
        if not element.tag.startswith(SVG) or name not in ALLOWED:
            yield f"<{name}>"
        for attribute, value in element.items():
            if attribute not in ALLOWED.get(name, "").split():
                yield f"{attribute} in <{name}>"
            if "(" in value or ":" in value:
                yield f"{value} refers to something else"


def all_drawings() -> dict[tuple[str, str], Drawing]:
    return {which: read_drawing(path) for which, path in files().items()}


def test_every_state_number_and_part_has_a_file_and_no_file_is_left_over() -> None:
    wanted = {(name, state) for name, states in STATES.items() for state in states}
    wanted |= {(name, RULER) for name in NUMBERS} | {(VISIBLE, part) for part in PARTS}
    lacking, over = sorted(wanted - set(files())), sorted(set(files()) - wanted)
    assert not lacking, f"draw {lacking} in configs/figures"
    assert not over, f"no state is called so: {over}"
    every = {path for path in FIGURES.rglob("*") if path.is_file()}
    assert every == set(files().values()), "something else lies among the drawings"


def test_no_two_states_of_a_character_look_alike() -> None:
    close = []
    for name, states in STATES.items():
        for one, other in itertools.combinations(states, 2):
            far = float((np.abs(picture(name, one) - picture(name, other)) > 0.25).mean())
            if far < LEAST_DIFFERENCE:
                close.append(f"{name}: {one} and {other} differ in {far:.3f} of the pixels")
    assert not close, "\n".join(close)


def test_drawings_are_neither_empty_nor_black_and_what_is_asked_about_stands_out() -> None:
    for name, states in STATES.items():
        for state in states:
            ink = (picture(name, state) > 0.5).mean()
            # Stems may run out of the square, what matters may not fill it to the last pixel.
            assert 0.02 < ink < 0.55, f"{name}: {state}: {ink:.2f} of it is black"
            paths = list(ElementTree.fromstring(line_drawing(name, state).svg).iter(f"{SVG}path"))
            heaviest = max(float(path.get("stroke-width", "0")) for path in paths)
            black = any(path.get("fill") == "currentColor" and not path.get("fill-opacity") for path in paths)
            assert heaviest > 1.2 * THIN or black, f"{name}: {state} has nothing that stands out"


def test_rulers_begin_at_nothing_and_end_within_what_is_believed() -> None:
    for name, character in NUMBERS.items():
        told = [text.text or "" for text in ElementTree.fromstring(line_drawing(name).svg).iter(f"{SVG}text")]
        assert len(told) >= 3 and all(re.fullmatch(r"[\d.]+", word) for word in told), name
        assert [float(word) for word in told] == sorted(float(word) for word in told), name
        if character.unit in ("mm", "cm"):
            assert character.domain is not None and float(told[0]) == 0, name
            assert character.domain[0] < float(told[-1]) <= character.domain[1], name
            assert character.unit in line_drawing(name).words, name


def test_drawings_are_small_squares_in_the_colour_of_the_text() -> None:
    looks = set()
    for (name, state), drawing in all_drawings().items():
        assert len(drawing.svg.encode()) < 12_000, f"{name}: {state} has {len(drawing.svg)} bytes"
        root = ElementTree.fromstring(drawing.svg)
        assert not list(not_plain(root)), f"{name}: {state}"
        assert root.get("viewBox") == "0 0 1000 1000" and root.get("role") == "img", f"{name}: {state}"
        for element in root.iter():
            assert element.get("stroke", "none") in ("none", "currentColor"), f"{name}: {state}"
            looks.add((element.get("fill"), element.get("fill-opacity")))
            if element.tag == f"{SVG}path":
                assert 9 <= float(element.get("stroke-width", "9")) <= 55, f"{name}: {state}"
                assert outlines(element.get("d", "")), f"{name}: {state}"
            if element.tag == f"{SVG}text":  # words would not be read by all, and not be translated
                assert re.fullmatch(r"[\d.]+", element.text or ""), f"{name}: {element.text}"
    assert looks <= {(None, None), ("none", None), ("currentColor", None), ("currentColor", "0.15")}


def test_each_has_an_id_and_a_title_of_its_own_with_the_words_of_the_state() -> None:
    seen = set()
    for (name, state), drawing in all_drawings().items():
        root = ElementTree.fromstring(drawing.svg)
        title = root.find(f"{SVG}title")
        own = f"ruler-{name}" if state == RULER else f"drawing-{name}-{state}"
        assert title is not None and title.get("id") == root.get("aria-labelledby") == own, f"{name}: {state}"
        assert re.fullmatch(r"[A-Z][^.!?]*\.", drawing.words) and len(drawing.words) < 220, f"{name}: {drawing.words}"
        assert drawing.words not in seen, f"{name}: {drawing.words} is said twice"
        seen.add(drawing.words)
        if name in STATES:
            assert CHARACTERS[name].states[state] in drawing.words, f"{name}: {state}"


def test_a_drawing_of_another_programs_curves_is_seen_as_it_is() -> None:
    """Whoever edits by hand may write what SVG editors do: absolute or relative, lines or curves."""
    relative, absolute = outlines("M100 100l200 0 0 200-200 0z"), outlines("m100,100 H300 V300 L100 300 Z")
    assert np.array_equal(relative[0], absolute[0]) and len(relative) == len(absolute) == 1
    cubic = outlines("M0 0c0 40 60 80 120 80h10.5")[0]
    assert np.allclose(cubic[-2:], [[120, 80], [130.5, 80]]) and np.allclose(cubic[8], [37.5, 55])
    assert np.allclose(outlines("M0 0Q50 100 100 0")[0][8], [50, 50])
    two = outlines("M10 10l5 0M20 20l5 5")
    assert [len(line) for line in two] == [2, 2] and two[1].tolist() == [[20, 20], [25, 25]]
    square = '<svg xmlns="http://www.w3.org/2000/svg"><path stroke-width="20" d="M400 400h200v200h-200z"/></svg>'
    assert raster(square)[38, 48] > 0.9 and raster(square)[48, 48] == 0


@pytest.mark.parametrize(
    "inside",
    [
        "<script>1</script>",
        "<style>a{}</style>",
        "<foreignObject/>",
        '<title onclick="a">A.</title>',
        '<path style="fill:red"/>',
        '<path fill="url(#a)"/>',
        '<text font-family="https://a.example/b.woff"/>',
    ],
)
def test_what_a_drawing_may_not_hold_is_found(inside: str) -> None:
    assert list(not_plain(ElementTree.fromstring(f'<svg xmlns="http://www.w3.org/2000/svg">{inside}</svg>')))


def test_what_is_no_svg_is_named(tmp_path: Path) -> None:
    file = tmp_path / "wrong.svg"
    for text, cause in (
        ('<s:svg xmlns:s="http://www.w3.org/2000/svg"><s:title>A.</s:title></s:svg>', "without a prefix"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><title> </title></svg>', "has no text alternative"),
        ('<svg xmlns="http://www.w3.org/2000/svg"><path', "cannot be read as SVG"),
    ):
        file.write_text(text)
        with pytest.raises(FloraError, match=f"wrong.svg: .*{cause}"):
            read_drawing(file)
    with pytest.raises(FloraError, match="cannot be read"):
        read_drawing(tmp_path / "none.svg")


def test_only_the_svg_itself_goes_into_a_page(tmp_path: Path) -> None:
    file = tmp_path / "ligule" / "hairs.svg"
    file.parent.mkdir()
    file.write_text('<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"><desc>By\n hand.</desc></svg>\n')
    drawing = read_drawing(files(tmp_path)["ligule", "hairs"])
    assert drawing == Drawing('<svg xmlns="http://www.w3.org/2000/svg"><desc>By\n hand.</desc></svg>', "By hand.")


def test_a_question_goes_on_without_a_drawing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    broken = tmp_path / "hairs.svg"
    broken.write_text("<svg")
    monkeypatch.setattr("app.figures.line_drawings.files", lambda: {("ligule", "hairs"): broken})
    line_drawing.cache_clear()
    try:
        assert line_drawing("ligule", "hairs") == line_drawing("ligule", "membrane") == Drawing()
    finally:
        line_drawing.cache_clear()
