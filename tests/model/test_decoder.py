"""What the decoder answers to each request, in this process; tests/model/test_sandbox.py tests its limits."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from model.errors import PhotoError
from model.photo import decode
from model.photo.decoder import LENGTHS, _send, answer_for


def saved(path: Path, size: tuple[int, int] = (400, 300), mode: str = "RGB", **more: Any) -> Path:
    """A photo of noise, so that something can be made out in it."""
    noise = np.random.default_rng(1).integers(0, 256, (size[1], size[0], 3)).astype(np.uint8)
    Image.fromarray(noise).convert(mode).save(path, **more)
    return path


def test_a_photo_is_opened_whole_grey_and_by_its_words(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Maker", "Camera 1"
    exif.get_ifd(0x8769)[0x9003] = "2026:11:25 10:00:00"
    photo = str(saved(tmp_path / "a.jpg", exif=exif))
    words, pixels = answer_for({"do": "open", "path": photo})
    assert (words["file"], words["usable"], words["size"]) == (photo, True, (400, 300))
    assert pixels.dtype == np.uint8 and min(pixels.shape[:2]) >= 224
    assert answer_for({"do": "whole", "path": photo, "longest_side": 100})[1].shape == (75, 100, 3)
    assert answer_for({"do": "whole", "path": photo, "longest_side": 900})[1].shape == (300, 400, 3)
    assert answer_for({"do": "metadata", "path": photo}) == (
        {"metadata": ("2026:11:25 10:00:00", "Maker Camera 1")},
        None,
    )


@pytest.mark.parametrize("what", ["open", "whole", "metadata"])
def test_a_refusal_is_a_sentence_and_not_an_end(what: str, tmp_path: Path) -> None:
    (tmp_path / "words.jpg").write_text("words, not a picture")
    for name, says in (("words.jpg", "is not a photo"), ("gone.jpg", "no such file"), (".", "is a folder")):
        words, pixels = answer_for({"do": what, "path": str(tmp_path / name), "longest_side": 90})
        assert pixels is None and says in words["refused"] and list(words) == ["refused"]


def test_an_answer_goes_out_as_lengths_words_and_pixels() -> None:
    out, pixels = io.BytesIO(), np.arange(24, dtype=np.uint8).reshape(2, 4, 3)
    _send(out, {"file": "a"}, pixels)
    _send(out, {"ready": True}, None)
    data = out.getvalue()
    words, body = LENGTHS.unpack(data[: LENGTHS.size])
    head = data[LENGTHS.size : LENGTHS.size + words]
    assert json.loads(head) == {"file": "a", "shape": [2, 4, 3]} and body == 24
    assert data[LENGTHS.size + words :][:24] == pixels.tobytes()
    rest = data[LENGTHS.size + words + 24 :]
    assert LENGTHS.unpack(rest[: LENGTHS.size])[1] == 0 and json.loads(rest[LENGTHS.size :]) == {"ready": True}


def test_a_photo_in_which_nothing_can_be_made_out_has_no_whole(tmp_path: Path) -> None:
    Image.new("RGB", (300, 300), "green").save(tmp_path / "plain.png")
    with pytest.raises(PhotoError, match="nothing can be made out"):
        decode.open_whole(tmp_path / "plain.png", 100)


@pytest.mark.parametrize(
    ("change", "note"),
    [(lambda x: x // 4, "very dark"), (lambda x: 200 + x // 5, "very bright"), (lambda x: x, "")],
)
def test_dark_and_bright_photos_are_noted(change: Any, note: str, tmp_path: Path) -> None:
    noise = np.random.default_rng(2).integers(0, 256, (300, 300, 3)).astype(np.uint16)
    Image.fromarray(np.minimum(change(noise), 255).astype(np.uint8)).save(tmp_path / "a.png")
    found = decode.open_photo(tmp_path / "a.png")
    assert found.usable and (any(note in told for told in found.notes) if note else found.notes == ())


def test_blur_is_noted(tmp_path: Path) -> None:
    slope = np.tile(np.linspace(40, 200, 300), (300, 1)).astype(np.uint8)
    Image.fromarray(slope).convert("RGB").save(tmp_path / "a.png")
    assert [told.split(":")[0] for told in decode.open_photo(tmp_path / "a.png").notes] == ["blurred"]


def test_a_name_is_printed_on_one_line() -> None:
    assert decode.named("a\nb\x07.jpg") == "a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}.jpg"
