"""The contact sheet of the check, and the decisions that are made on it."""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFont

from model.errors import CollectionError
from tests.training.test_audit import picture, saved
from training.audit import pages, read_decisions, write_decisions
from training.audit.pages import wrapped, write_pages
from training.audit.report import Question
from training.audit.sheet import Words, write_sheet

SPECIES = ["bellis_perennis", "poa_annua", "soliva_sessilis"]
WORDS = Words(lambda label: label.replace("_", " "), SPECIES)
EVIL = "\"><script>alert('1')</script>.jpg"


def question(photo: str, given: str = "poa_annua", likelier: str = "bellis_perennis") -> Question:
    return Question(photo, given, likelier, 0.012, "label", "80 times as likely to be bellis_perennis")


def decide(path: Path, **said: str) -> None:
    """Fill in the last cell, as a person does in a spreadsheet."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(
            {**row, "decision": said.get(row["photo"].strip("'=").removesuffix(".jpg"), "")} for row in rows
        )


# Decisions.


def test_decisions_are_written_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "decide.csv"
    questions = [question("a.jpg"), question("=b.jpg"), question("c.jpg"), question("d.jpg", likelier="")]
    assert write_decisions(path, [*questions, replace(question("e.jpg"), score=None)]) == 0
    text = path.read_text(encoding="utf-8")
    assert text.splitlines()[0] == "file,photo,given,likelier,score,decision"
    assert "\n,'=b.jpg,poa_annua,bellis_perennis,0.012000,\n" in text, "a cell is never a formula"
    labels = {f"{c}.jpg": "poa_annua" for c in ("a", "=b", "c", "d", "e")}
    assert read_decisions(path, SPECIES, labels) == [], "nothing is decided by itself"
    decide(path, a="relabel:bellis_perennis", b="drop", c=" KEEP ", e="relabel: soliva_sessilis")
    made = read_decisions(path, SPECIES, labels)
    assert [(d.photo, d.action, d.species) for d in made] == [
        ("a.jpg", "relabel", "bellis_perennis"),
        ("=b.jpg", "drop", ""),
        ("c.jpg", "keep", ""),
        ("e.jpg", "relabel", "soliva_sessilis"),
    ]
    assert [d.text for d in made[:3]] == ["relabel:bellis_perennis", "drop", "keep"]


def test_a_file_of_decisions_of_before_is_kept_though_it_names_no_files(tmp_path: Path) -> None:
    path = tmp_path / "decide.csv"
    path.write_text(HEAD + "a.jpg,poa_annua,,,drop\nz.jpg,poa_annua,,,keep\n", encoding="utf-8")
    assert write_decisions(path, [replace(question("a.jpg"), file="=IMG 7.jpg")]) == 2
    rows = path.read_text(encoding="utf-8").splitlines()[1:]
    assert (
        rows[0].startswith("'=IMG 7.jpg,a.jpg,") and rows[0].endswith(",drop") and rows[1] == ",z.jpg,poa_annua,,,keep"
    )


def test_decisions_that_were_made_outlive_another_check(tmp_path: Path) -> None:
    path = tmp_path / "decide.csv"
    write_decisions(path, [question("a.jpg"), question("b.jpg"), question("c.jpg")])
    decide(path, a="keep", b="drop", c="relabel:bellis_perennis")
    # b is not asked about any more; c has another label since.
    kept = write_decisions(path, [question("n.jpg"), question("a.jpg"), question("c.jpg", "soliva_sessilis")])
    assert kept == 2
    rows = [line.rsplit(",", 1) for line in path.read_text(encoding="utf-8").splitlines()[1:]]
    assert [(left.split(",")[1], said) for left, said in rows] == [
        ("n.jpg", ""),
        ("a.jpg", "keep"),
        ("c.jpg", ""),
        ("b.jpg", "drop"),
    ]


def test_a_file_of_decisions_may_come_from_any_spreadsheet(tmp_path: Path) -> None:
    path = tmp_path / "decide.csv"
    path.write_bytes("\ufeffphoto;given;likelier;score;decision\r\na.jpg;poa_annua;;0,01;drop\r\n".encode())
    (made,) = read_decisions(path, SPECIES, {"a.jpg": "poa_annua"})
    assert (made.photo, made.action) == ("a.jpg", "drop")


def test_what_is_done_already_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "decide.csv"
    write_decisions(path, [question("a.jpg"), question("b.jpg")])
    decide(path, a="relabel:bellis_perennis", b="drop")
    assert {d.action for d in read_decisions(path, SPECIES, {"a.jpg": "bellis_perennis"})} == {"keep"}


HEAD = "photo,given,likelier,score,decision\n"
BAD = {
    "unknown species": (
        HEAD + "a.jpg,poa_annua,,,relabel:bellis_perenis",
        "row 2: 'bellis_perenis' is not a known species; did you mean bellis_perennis?",
    ),
    "no species": (HEAD + "a.jpg,poa_annua,,,relabel:", "row 2: '' is not a known species"),
    "unknown word": (HEAD + "a.jpg,poa_annua,,,perhaps", "row 2: 'perhaps' is not a decision; write keep, drop or"),
    "changed since": (
        HEAD + "a.jpg,soliva_sessilis,,,drop",
        "row 2: a.jpg was soliva_sessilis when it was checked and is",
    ),
    "no such photo": (HEAD + "z.jpg,poa_annua,,,keep", "row 2: 'z.jpg' is not a photo in the collection"),
    "two decisions": (
        HEAD + "a.jpg,poa_annua,,,drop\na.jpg,poa_annua,,,keep",
        "row 3: a.jpg has two decisions; leave one",
    ),
    "no column": ("photo,given\na.jpg,poa_annua", "has no column likelier"),
    "empty": ("", "has no column photo"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_file_of_decisions_is_a_sentence(kind: str, tmp_path: Path) -> None:
    text, told = BAD[kind]
    path = tmp_path / "decide.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CollectionError, match=re.escape(told)):
        read_decisions(path, SPECIES, {"a.jpg": "poa_annua"})


def test_files_that_cannot_be_read_or_written_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(CollectionError, match="no such file"):
        read_decisions(tmp_path / "none.csv", SPECIES, {})
    (tmp_path / "picture.csv").write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF")
    with pytest.raises(CollectionError, match="cannot be read as text"):
        read_decisions(tmp_path / "picture.csv", SPECIES, {})
    with pytest.raises(CollectionError, match="cannot be read as text"):
        write_decisions(tmp_path / "picture.csv", [question("a.jpg")])
    assert (tmp_path / "picture.csv").read_bytes().startswith(b"\xff\xd8"), "a file of another kind is left alone"
    for write in (
        lambda: write_decisions(tmp_path / "none" / "d.csv", []),
        lambda: write_sheet(tmp_path / "none" / "s.html", [], {}, WORDS),
        lambda: write_pages(tmp_path / "none" / "s.png", [question("a.jpg")], {}, WORDS),
    ):
        with pytest.raises(CollectionError, match="cannot be written"):
            write()


# The sheet.


class Page(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_the_sheet_shows_photos_and_escapes_what_people_wrote(tmp_path: Path) -> None:
    photo = saved(tmp_path, "a.jpg", picture(3))
    evil = Words(lambda label: f"<b>{label}</b>", [*SPECIES, "<img src=x onerror=alert(1)>"])
    out = tmp_path / "sheet.html"
    write_sheet(out, [question("a.jpg"), question(EVIL), question("gone.jpg")], {"a.jpg": photo.file}, evil)
    page = Page(out.read_text(encoding="utf-8"))
    names = [tag for tag, _ in page.tags]
    assert names.count("script") == 1 and "b" not in names and not any("onerror" in a for _, a in page.tags)
    assert names.count("img") == 1 and page.words.count("cannot be shown") == 2
    cards = [a for tag, a in page.tags if tag == "div" and "card" in (a.get("class") or "").split()]
    lines = [a["data-line"] or "" for a in cards]
    assert [next(csv.reader([line]))[1] for line in lines] == ["a.jpg", EVIL, "gone.jpg"]
    assert EVIL in page.words and "<b>poa_annua</b>" in page.words


def test_the_sheet_loads_nothing_and_is_decided_on_by_nobody_but_the_person(tmp_path: Path) -> None:
    out = tmp_path / "sheet.html"
    write_sheet(
        out,
        [question("a.jpg"), question("b.jpg"), question("c.jpg")],
        {},
        WORDS,
        {"b.jpg": "drop", "c.jpg": "relabel:soliva_sessilis"},
    )
    text = out.read_text(encoding="utf-8")
    page = Page(text)
    policy = next(a["content"] for tag, a in page.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None and policy.startswith("default-src 'none'")
    assert not re.findall(r"(?:src|href)=\"(?!data:)", text) and "://" not in text
    chosen = [a["value"] for tag, a in page.tags if tag == "option" and "selected" in a]
    assert chosen == ["", "drop", "other"]
    assert [a["value"] for tag, a in page.tags if tag == "input"] == ["", "", "soliva sessilis"], "by name"
    offered = {a["value"]: a["data-label"] for tag, a in page.tags if tag == "option" and "data-label" in a}
    assert offered == {"bellis perennis": "bellis_perennis", "poa annua": "poa_annua", "soliva sessilis": SPECIES[2]}
    body = dict(next(a for tag, a in page.tags if tag == "body"))
    assert body["data-file"] == "sheet.csv" and body["data-head"] == "file,photo,given,likelier,score,decision"


def test_pages_hold_twenty_photos_each(tmp_path: Path) -> None:
    photos = [saved(tmp_path, f"{i}.jpg", picture(i, 120)) for i in range(3)]
    where = {f"q{i}": photos[i % 3].file for i in range(23)}
    del where["q22"]
    files = write_pages(tmp_path / "sheet.png", [question(f"q{i}") for i in range(23)], where, WORDS)
    assert [f.name for f in files] == ["sheet-1.png", "sheet-2.png"]
    first, second = (np.asarray(Image.open(f).convert("L"), dtype=float) for f in files)
    assert first.shape == second.shape == (1754, 1240)
    assert (first < 250).mean() > 3 * (second < 250).mean() > 0.01


def test_long_names_are_wrapped_and_cut() -> None:
    font = ImageFont.load_default(15)
    lines = wrapped("a" * 400, 200, font)
    assert len(lines) == 2 and lines[1].endswith("...")
    assert all(font.getlength(line) <= 210 for line in lines)
    assert wrapped("one two three", 1000, font) == ["one two three"]
    assert wrapped("white clover (trifolium_repens) in lawns", 200, font)[0].endswith(")")
    assert wrapped("a\nb", 1000, font) == ["a b"]


def test_a_sheet_has_its_day_and_nothing_to_save_where_nothing_is_asked(tmp_path: Path) -> None:
    day = f"{date.today().day} {date.today():%B %Y}"
    for questions, says in ([], "no photo needs a decision"), ([question("a.jpg")], "1 photo to decide on"):
        write_sheet(tmp_path / "sheet.html", questions, {}, WORDS)
        text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
        assert f"{day}: {says}" in text
        assert ('<div class="bar" hidden>' in text) is not bool(questions)


def test_captions_of_a_page_are_large_enough_to_read_on_paper(tmp_path: Path) -> None:
    assert min(pages.LARGE, pages.MIDDLE, pages.SMALL) * 72 / 150 >= 7.5, "in points, at 150 dots an inch"
    most = pages.PICTURE + 6 + 2 * (pages.LARGE + pages.MIDDLE + pages.SMALL + 12)
    assert most <= (pages.HEIGHT - 3 * pages.MARGIN) // pages.DOWN, "two lines each, above the next row"
