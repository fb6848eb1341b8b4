"""The sandbox: what a picture does to its decoder costs that picture only."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from model.errors import PhotoError
from model.photo.decode import LARGEST_BYTES, WORKING_SIDE, open_photo
from model.photo.sandbox import DECODER, Limits, Sandbox
from tests.security import hostile_pictures as hostile
from tests.security.hostile_kinds import KINDS, many_scans
from tests.security.picture_parts import SEEDS, good_jpeg, picture, saved, turned_heic

ROOT = Path(__file__).resolve().parents[2]
# A decoder that does to itself what a fault in a decoder would: the file's name says what.
FAULTY = f"""
import os, sys, time
sys.path.insert(0, {str(ROOT)!r})
from model.photo.decoder import answer_for, serve

def answer(request):
    name = os.path.basename(request["path"])
    if name.startswith("crash"):
        os.kill(os.getpid(), 11)
    if name.startswith("exit"):
        os._exit(3)
    if name.startswith("once") and not os.path.exists(request["path"] + ".met"):
        open(request["path"] + ".met", "w").close()
        os._exit(3)
    if name.startswith("hang"):
        time.sleep(60)
    if name.startswith("print"):
        os.write(1, b"libpicture: warning")
    if name.startswith("nonsense"):
        return {{"shape": [7, -1, "x"]}}, None
    if name.startswith("huge"):
        return {{"words": "x" * 200_000}}, None
    if name.startswith("memory"):
        import numpy
        numpy.ones(2_000_000_000, numpy.uint8)
    return answer_for(request)

serve(int(sys.argv[1]), float(sys.argv[2]), answer)
"""


@pytest.fixture
def sandbox() -> Iterator[Sandbox]:
    with Sandbox(1) as sandbox:
        yield sandbox


@pytest.fixture
def good(tmp_path: Path) -> Path:
    (tmp_path / "good.jpg").write_bytes(good_jpeg())
    return tmp_path / "good.jpg"


@pytest.fixture
def faulty(tmp_path: Path) -> Iterator[Sandbox]:
    program = tmp_path / "faulty.py"
    program.write_text(FAULTY)
    with Sandbox(1, Limits(memory=1_000_000_000, clock=3.0), program) as sandbox:
        yield sandbox


def test_in_the_sandbox_are_the_same_pixels(sandbox: Sandbox, tmp_path: Path) -> None:
    for name, data in SEEDS.items():
        file = tmp_path / name
        file.write_bytes(data)
        one, other = sandbox.open(file), open_photo(file)
        assert np.array_equal(one.pixels, other.pixels)
        assert (one.file, one.usable, one.notes, one.size) == (other.file, other.usable, other.notes, other.size)


@pytest.mark.skipif(
    sys.platform == "win32",
    reason="without signals no decoder is crashed, so a photo that ends the program goes unseen",
)
@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("crash", "ends the program that opens pictures (signal 11)"),
        ("exit", "ends the program that opens pictures (status 3)"),
        ("hang", "took over 3 s to open"),
        ("memory", "ends the program that opens pictures (status 1)"),
        ("nonsense", "an answer that is not one"),
        ("huge", "an answer out of bounds"),
    ],
)
def test_a_decoder_that_fails_costs_one_photo_and_is_started_anew(
    faulty: Sandbox, good: Path, tmp_path: Path, name: str, says: str
) -> None:
    assert faulty.open(good).usable
    shutil.copy(good, tmp_path / f"{name}.jpg")
    with pytest.raises(PhotoError) as error:
        faulty.open(tmp_path / f"{name}.jpg")
    assert says in str(error.value) and str(error.value).startswith(f"{tmp_path / name}.jpg: ")
    assert faulty.open(good).usable


def test_a_decoder_that_fails_once_is_asked_again(faulty: Sandbox, good: Path, tmp_path: Path) -> None:
    shutil.copy(good, tmp_path / "once.jpg")
    assert faulty.open(tmp_path / "once.jpg").usable
    assert faulty.started == 2


def test_what_a_decoder_prints_does_not_get_among_the_pixels(faulty: Sandbox, good: Path, tmp_path: Path) -> None:
    shutil.copy(good, tmp_path / "print.jpg")
    for _ in range(2):
        assert np.array_equal(faulty.open(tmp_path / "print.jpg").pixels, open_photo(good).pixels)


def test_a_decoder_that_was_ended_between_photos_is_replaced_unseen(sandbox: Sandbox, good: Path) -> None:
    sandbox.open(good)
    sandbox._idle[0].process.kill()
    sandbox._idle[0].process.wait()
    assert sandbox.open(good).usable
    assert sandbox.started == 2


def test_a_decoder_that_does_not_start_blames_no_photo(good: Path, tmp_path: Path) -> None:
    (tmp_path / "broken.py").write_text("raise SystemExit(5)")
    with (
        Sandbox(1, program=tmp_path / "broken.py") as sandbox,
        pytest.raises(PhotoError, match=r"does not start \(status 5\)"),
    ):
        sandbox.open(good)


def test_a_decoder_that_is_never_ready_is_given_up(good: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "silent.py").write_text("input()")
    monkeypatch.setattr("model.photo.sandbox.START_SECONDS", 0.5)
    with (
        Sandbox(1, program=tmp_path / "silent.py") as sandbox,
        pytest.raises(PhotoError, match=r"does not start \(over 0.5 s\)"),
    ):
        sandbox.open(good)


def test_a_picture_that_takes_too_long_is_given_up(tmp_path: Path, good: Path) -> None:
    (tmp_path / "scans.jpg").write_bytes(many_scans(8000))
    for limits, says in ((Limits(clock=3.0), "3 s to open"), (Limits(seconds=0.5), "0.5 s of computing to open")):
        with Sandbox(1, limits) as sandbox:
            sandbox.open(good)
            with pytest.raises(PhotoError, match=f"took over {says}"):
                sandbox.open(tmp_path / "scans.jpg")
            assert sandbox.open(good).usable


@pytest.mark.skipif(
    sys.platform == "win32",
    reason="without signals no decoder is held up, so a photo refused only because the machine is busy goes unseen",
)
def test_time_that_others_take_does_not_count(good: Path) -> None:
    with Sandbox(1, Limits(seconds=1.0)) as sandbox:
        sandbox.open(good)
        decoder = sandbox._idle[0].process
        decoder.send_signal(signal.SIGSTOP)
        threading.Timer(2.5, decoder.send_signal, (signal.SIGCONT,)).start()
        assert sandbox.open(good).usable
        assert sandbox.started == 1


@pytest.mark.skipif(
    not sys.platform.startswith("linux"),
    reason="only Linux limits the address space, so a photo that eats all memory goes unseen",
)
def test_memory_is_limited(tmp_path: Path, good: Path) -> None:
    Image.new("RGB", (8000, 6000)).save(tmp_path / "large.png", compress_level=1)
    with Sandbox(1, Limits(memory=300_000_000)) as sandbox:
        with pytest.raises(PhotoError, match="needs too much memory"):
            sandbox.open(tmp_path / "large.png")
        assert sandbox.open(good).usable
    assert open_photo(tmp_path / "large.png").size == (8000, 6000)


@pytest.mark.skipif(
    not sys.platform.startswith("linux"),
    reason="without /proc the limits cannot be read, so a decoder without them goes unseen",
)
def test_the_decoder_may_write_no_file(sandbox: Sandbox, good: Path) -> None:
    sandbox.open(good)
    limits = Path(f"/proc/{sandbox._idle[0].process.pid}/limits").read_text()
    rows = {line[:26].strip(): line[26:].split()[0] for line in limits.splitlines()}
    assert rows["Max file size"] == "0" and rows["Max core file size"] == "0"
    assert rows["Max address space"] == "1500000000"


def test_several_threads_share_a_sandbox(good: Path) -> None:
    with Sandbox(2) as sandbox, ThreadPoolExecutor(6) as pool:
        found = list(pool.map(lambda _: sandbox.open(good).pixels, range(30)))
        assert sandbox.started <= 2
    assert all(np.array_equal(pixels, found[0]) for pixels in found)


def test_stopped_in_the_middle_of_a_photo_the_next_one_is_not_mixed_up(tmp_path: Path, good: Path) -> None:
    (tmp_path / "scans.jpg").write_bytes(many_scans(8000))
    with Sandbox(1) as sandbox:
        sandbox.open(good)
        threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT)).start()
        with pytest.raises(KeyboardInterrupt):
            sandbox.open(tmp_path / "scans.jpg")
        assert np.array_equal(sandbox.open(good).pixels, open_photo(good).pixels)


@pytest.mark.skipif(
    not hasattr(os, "fork"),
    reason="without fork no two programs share decoders, so a photo given to the wrong one goes unseen",
)
def test_a_fork_does_not_talk_to_the_decoders_of_the_other(sandbox: Sandbox, good: Path) -> None:
    sandbox.open(good)
    child = os.fork()
    if child == 0:
        done = 1
        try:
            done = 0 if sandbox.open(good).usable and sandbox.started == 2 else 1
            sandbox.close()
        finally:
            os._exit(done)
    assert os.waitpid(child, 0)[1] == 0
    assert sandbox.open(good).usable and sandbox.started == 1


def test_no_process_and_no_open_file_is_left(good: Path) -> None:
    before = hostile.open_files()
    sandbox = Sandbox(1)
    sandbox.open(good)
    process = sandbox._idle[0].process
    sandbox.close()
    assert process.returncode is not None
    assert hostile.open_files() == before


def test_the_decoder_starts_no_deep_learning(sandbox: Sandbox, good: Path) -> None:
    import subprocess

    code = (
        f"import runpy, sys\nsys.argv = ['decoder', '1500000000', '10']\n"
        f"runpy.run_path({str(DECODER)!r}, run_name='__main__')\n"
        "sys.stderr.write(repr([m for m in ('torch', 'onnx', 'onnxruntime', 'scipy') if m in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], stdin=subprocess.DEVNULL, capture_output=True, check=True)
    assert done.stderr == b"[]"


def test_a_relative_name_is_told_as_it_was_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, good: Path) -> None:
    with Sandbox(1) as sandbox:
        assert sandbox.open(good).file == str(good)
        monkeypatch.chdir(tmp_path)  # after the decoder has started elsewhere
        assert sandbox.open("good.jpg").file == "good.jpg"
        with pytest.raises(PhotoError, match=r"^none\.jpg: no such file"):
            sandbox.open("none.jpg")


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "bomb"])  # these take minutes
def test_hostile_pictures_end_in_a_photo_or_a_sentence(tmp_path: Path, kind: str) -> None:
    """Some of each kind; ``python -m tests.security.hostile_pictures`` opens them all."""
    with Sandbox(1, Limits()) as sandbox:
        met = hostile.meet_corpus(sandbox, tmp_path, hostile.corpus((kind,), each=3))
        assert met and [m for m in met if m.came == "wrong"] == []
        assert hostile.opens_still(sandbox, tmp_path)


def test_byte_flipped_pictures_end_in_a_photo_or_a_sentence(sandbox: Sandbox, tmp_path: Path) -> None:
    """A few; ``python -m tests.security.hostile_pictures`` opens 10,000."""
    met = hostile.flips(sandbox, tmp_path, 110)
    assert [m for m in met if m.came == "wrong"] == []
    assert {m.came for m in met} == {"photo", "refused"}


def test_telephones_turn_heic_and_the_photo_is_upright(sandbox: Sandbox, tmp_path: Path) -> None:
    # Red above blue at the left, green at the right; turned anticlockwise by quarters.
    corners = {0: "rgbg", 1: "ggrb", 2: "gbgr", 3: "brgg"}  # above left and right, below left and right
    for quarters, expected in corners.items():
        (tmp_path / "a.heic").write_bytes(turned_heic(quarters))
        pixels = sandbox.open(tmp_path / "a.heic").pixels
        found = [pixels[y, x].argmax() for y in (40, -40) for x in (40, -40)]
        assert "".join("rgb"[i] for i in found) == expected


def test_twenty_five_megabytes_pass_and_one_byte_more_does_not(sandbox: Sandbox, tmp_path: Path) -> None:
    data = good_jpeg()
    (tmp_path / "a.jpg").write_bytes(data + bytes(LARGEST_BYTES - len(data)))
    assert sandbox.open(tmp_path / "a.jpg").pixels.shape[0] == WORKING_SIDE
    (tmp_path / "a.jpg").write_bytes(data + bytes(LARGEST_BYTES - len(data) + 1))
    with pytest.raises(PhotoError, match="is over 25 MB"):
        sandbox.open(tmp_path / "a.jpg")


def test_the_first_picture_of_an_animation_counts(sandbox: Sandbox, tmp_path: Path) -> None:
    black = Image.new("RGB", picture().size)
    for kind in ("PNG", "WEBP"):
        options = {"lossless": True} if kind == "WEBP" else {}
        (tmp_path / "one").write_bytes(saved(picture(), kind, **options))
        (tmp_path / "many").write_bytes(saved(picture(), kind, save_all=True, append_images=[black], **options))
        assert np.array_equal(sandbox.open(tmp_path / "one").pixels, sandbox.open(tmp_path / "many").pixels)
