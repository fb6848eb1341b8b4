"""Naming a folder: a row a photo, the same rows however the work is shared, stopped or continued."""

from __future__ import annotations

import csv
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.services import batch
from app.services.batch import Share, photos_in
from app.services.batch_table import COLUMNS, UNREADABLE, Named, Table
from app.services.interview import identify
from model.errors import SwardkeyError
from tests.app.conftest import Run

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted((ROOT / "sample_images").glob("*.jpg"))[:3]
NAMES = ["=1+1 \N{SEEDLING}.JPG", "back yard/b.jpg", "c.jpeg", "empty.png", "words.jpg"]


@pytest.fixture
def lot(tmp_path: Path) -> Path:
    """Three drawn photos, one in a folder, one called a formula; and what is not a photo."""
    folder = tmp_path / "lot"
    (folder / "back yard").mkdir(parents=True)
    for sample, name in zip(SAMPLES, NAMES[:3], strict=True):
        shutil.copy(sample, folder / name)
    (folder / "empty.png").write_bytes(b"")
    (folder / "words.jpg").write_text("words")
    (folder / "notes.txt").write_text("not a photo")
    (folder / ".thumbnails").mkdir()
    shutil.copy(SAMPLES[0], folder / ".thumbnails" / "x.jpg")
    (folder / "loop").symlink_to(folder)
    return folder


def a_row(name: str, model: str = "starter") -> Named:
    return Named(name, "likely", "poa_annua", 0.8, (("poa_annua", 0.9), ("soliva_sessilis", 0.1)), True, "", model)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Rows without processes and without a photo model; the names that were asked for. "stop" stops after one."""
    asked: list[str] = []

    def name_all(files: list[str], workers: int, folder: Path, model: str, *knows: object) -> Iterator[Named]:
        for file in files:
            if asked == ["stop"]:
                yield a_row(file, model)
                raise KeyboardInterrupt
            asked.append(file)
            yield a_row(file, model)

    monkeypatch.setattr(batch, "name_all", name_all)
    return asked


def test_processes_name_a_folder_as_identify_names_each_photo(run: Run, lot: Path) -> None:
    found = run("identify", lot, "--month", 10, "--workers", 2, "--json").json
    assert found["photos"] == 5 and [row["file"] for row in found["rows"]] == NAMES
    by_name = {row["file"]: row for row in found["rows"]}
    assert by_name["empty.png"] == {
        "file": "empty.png", "status": UNREADABLE, "species": None, "probability": None, "photo": [], "usable": False,
        "note": "is empty; copy the photo again", "model": "starter",
    }  # fmt: skip
    assert "is not a photo that can be read" in by_name["words.jpg"]["note"]
    for name in NAMES[:3]:
        row, alone = by_name[name], identify([lot / name], None, None, 10, None)
        assert (row["status"], row["species"]) == (alone.finding.status, alone.finding.species)
        assert row["probability"] == (alone.finding.probability and pytest.approx(alone.finding.probability, abs=1e-3))
        best = sorted(alone.photos.probabilities.items(), key=lambda item: -item[1])[:3]  # type: ignore[union-attr]
        assert [choice["probability"] for choice in row["photo"]] == pytest.approx([p for _, p in best], abs=1e-3)
        assert row["photo"][0]["species"] == best[0][0] or best[0][1] < 0.01


def test_shares_are_disjoint_and_together_the_whole(tmp_path: Path) -> None:
    names = [f"yard {i % 7}/photo {i}.jpg" for i in range(400)]
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    for of in (1, 2, 8):
        shares = [photos_in(tmp_path, Share(number, of)) for number in range(1, of + 1)]
        assert sorted(name for share in shares for name in share) == sorted(names)
        assert min(map(len, shares)) > 400 / of / 2


def test_shares_are_the_same_on_other_machines_and_in_later_versions() -> None:
    assert [i for i in range(40) if Share(2, 8).holds(f"{i}.jpg")] == [1, 9, 16, 18, 30]
    for number in range(1, 9):
        assert Share(number, 8).holds("gr\u00fcn.jpg") == Share(number, 8).holds("gru\u0308n.jpg")


@pytest.mark.parametrize("text", ["0/8", "9/8", "2", "2/", "/8", "a/b", "-1/8", "2/8/1", "1/99999", "\u00b2/8", ""])
def test_what_is_not_a_share_is_refused(text: str) -> None:
    with pytest.raises(SwardkeyError, match="is not a share; give number/of"):
        Share.read(text)


def test_the_table_continues_where_it_was_and_its_cells_are_not_formulas(run: Run, lot: Path, quick: list[str]) -> None:
    out = lot.parent / "named.csv"
    for name in NAMES[:2]:
        Table(out).add(a_row(name))
    with out.open("ab") as file:
        file.write(b"c.jpeg,likely,poa")  # killed while writing
    said = run("identify", lot, "--out", out).out
    assert "3 photos looked at: " in said and "\n2 before; all rows are in " in said
    assert quick == NAMES[2:] and [row.file for row in Table(out).rows()] == NAMES
    assert run("identify", lot, "--out", out, "--json").json["photos"] == 5 and len(quick) == 3
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert tuple(rows[0]) == COLUMNS and rows[1][0] == "'" + NAMES[0]


def test_stopped_it_keeps_what_is_done(run: Run, lot: Path, quick: list[str]) -> None:
    out = lot.parent / "named.csv"
    quick.append("stop")
    done = run("identify", lot, "--out", out)
    assert done.status == 130 and "1 rows kept" in done.err
    quick.clear()
    run("identify", lot, "--out", out)
    assert [row.file for row in Table(out).rows()] == NAMES


def test_another_photo_model_or_another_table_is_refused(run: Run, lot: Path, quick: list[str]) -> None:
    out = lot.parent / "named.csv"
    Table(out).add(a_row("x.jpg", "20261125T000000Z-12345678"))
    assert "was made with the photo model" in run("identify", lot, "--out", out).refusal
    for text in ("name,price\nmower,5\n", "a note without an end"):
        out.write_text(text)
        assert run("identify", lot, "--out", out).refusal and out.read_text() == text
    assert quick == []


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("LOT", "LOT"), "name one folder"),
        (("LOT/c.jpeg", "--out", "a.csv"), "name one folder"),
        (("LOT", "--answers", "a.yaml"), "--answers is for one plant"),
        (("LOT", "--visible", "leaves"), "--visible is for one plant"),
        (("LOT", "--region", "nowhere", "--out", "a.csv"), "region"),
        (("LOT", "--out", "a.xlsx"), "ends in .csv"),
        (("LOT/none",), "holds no photos"),
    ],
)
def test_what_does_not_go_together_is_one_sentence(
    run: Run, lot: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], says: str
) -> None:
    (lot / "none").mkdir()
    monkeypatch.chdir(lot.parent)
    assert says in run("identify", *(text.replace("LOT", "lot") for text in arguments)).refusal
    assert not Path("a.csv").exists()


def test_a_row_in_the_terminal() -> None:
    assert str(a_row("a.jpg")) == "a.jpg  likely  poa_annua 80%"
    blurred = Named("b.jpg", "undecided", photo=(("poa_annua", 0.6),), usable=True, note="blurred")
    assert str(blurred) == "b.jpg  undecided  perhaps poa_annua 60%  blurred"
    assert str(Named("c.jpg", UNREADABLE, note="is empty")) == "c.jpg  unreadable  is empty"


@pytest.mark.skipif(
    sys.platform == "win32", reason="without signals no run is ended half-way, so a torn table of names goes unseen"
)
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL])
def test_a_run_that_is_ended_leaves_whole_rows_and_no_process(tmp_path: Path, sent: signal.Signals) -> None:
    folder, out = tmp_path / "many", tmp_path / "named.csv"
    folder.mkdir()
    for i in range(40):
        os.link(shutil.copy(SAMPLES[i % 3], tmp_path / f"{i}"), folder / f"{i:02}.jpg")
    code = "from app.command_line import main\nif __name__ == '__main__':\n    main()"
    command = [sys.executable, "-c", code, "identify", str(folder), "--out", str(out), "--workers", "1"]
    with subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, start_new_session=True) as program:
        started = time.monotonic()
        while not (out.exists() and out.read_bytes().count(b"\n") > 2):
            assert program.poll() is None and time.monotonic() - started < 120
            time.sleep(0.02)
        if sent == signal.SIGINT:
            os.killpg(program.pid, sent)  # as Ctrl-C does: to all
        else:
            program.kill()
        said = program.communicate(timeout=60)[1].decode()
    if sent == signal.SIGINT:
        assert program.returncode == 130 and "rows kept in" in said and "Traceback" not in said
    rows = [row.file for row in Table(out).rows()]
    assert rows == [f"{i:02}.jpg" for i in range(len(rows))] and 2 <= len(rows) < 40
    ended = time.monotonic()
    while is_alive(program.pid):
        assert time.monotonic() - ended < 20, "processes are left"
        time.sleep(0.05)


@pytest.mark.skipif(
    not Path("/proc/self/task").exists(), reason="without /proc it is not seen when a process starts, so a traceback "
    "of one that met Ctrl-C goes unseen"
)  # fmt: skip
def test_ctrl_c_while_its_processes_start_is_one_sentence(tmp_path: Path) -> None:
    for number in range(12):
        shutil.copy(SAMPLES[0], tmp_path / f"{number}.jpg")
    code = "from app.command_line import main\nif __name__ == '__main__':\n    main()"
    command = [sys.executable, "-c", code, "identify", str(tmp_path), "--workers", "1"]
    with subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, start_new_session=True) as program:
        started = time.monotonic()
        while not is_starting(program.pid):
            assert program.poll() is None and time.monotonic() - started < 120
        time.sleep(0.5)  # it imports now, or on a quick machine names the first photos
        os.killpg(program.pid, signal.SIGINT)
        said = program.communicate(timeout=120)[1].decode()
    assert program.returncode == 130 and re.fullmatch(r"swardkey: stopped; \d+ photos done\n", said), said


def is_starting(program: int) -> bool:
    """Whether a process of the pool is there."""
    children = Path(f"/proc/{program}/task/{program}/children").read_text().split()
    lines = [Path(f"/proc/{child}/cmdline") for child in children]
    return any(b"spawn_main" in line.read_bytes() for line in lines if line.exists())


def is_alive(session: int) -> bool:
    try:
        os.killpg(session, 0)
    except (ProcessLookupError, PermissionError):
        return False
    return True
