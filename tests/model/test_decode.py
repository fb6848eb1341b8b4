"""Opening photos: every orientation, depth and colour mode, and one sentence for what is no photo."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from model.errors import PhotoError
from model.photo.decode import WORKING_SIDE, open_photo
from tests.security.picture_parts import HEIC, chunk, png, saved, segment, with_segment


def a_picture(width: int = 640, height: int = 480) -> Image.Image:
    random = np.random.default_rng(1)
    rough = random.integers(0, 255, (12, 16, 3), dtype=np.uint8)
    return Image.fromarray(rough).resize((width, height), Image.Resampling.BICUBIC)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_all_eight_orientations_give_the_same_upright_pixels(tmp_path: Path, orientation: int) -> None:
    upright = a_picture()
    undo = {
        1: None,
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }[orientation]
    stored = upright if undo is None else upright.transpose(undo)
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored.save(tmp_path / "turned.png", exif=exif)
    upright.save(tmp_path / "plain.png")
    turned = open_photo(tmp_path / "turned.png").pixels.astype(int)
    plain = open_photo(tmp_path / "plain.png").pixels.astype(int)
    assert turned.shape == plain.shape == (WORKING_SIDE, 549, 3)
    # Scaling happens before or after the turn, so half a level of rounding is left.
    assert np.abs(turned - plain).mean() < 1.0


def pixels_of(path: Path) -> NDArray[np.int64]:
    return open_photo(path).pixels.astype(int)


def test_every_way_to_write_a_picture_gives_its_pixels(tmp_path: Path) -> None:
    a_picture().save(tmp_path / "plain.png")
    plain = pixels_of(tmp_path / "plain.png")
    a_picture().convert("CMYK").save(tmp_path / "cmyk.jpg", quality=95, subsampling=0)
    a_picture().convert("RGBA").save(tmp_path / "alpha.png")
    a_picture().save(tmp_path / "lossless.webp", lossless=True)
    a_picture().save(tmp_path / "photo.jpg", quality=95, subsampling=0)
    for name, near in (("cmyk.jpg", 4), ("alpha.png", 0), ("lossless.webp", 0), ("photo.jpg", 3)):
        assert np.abs(pixels_of(tmp_path / name) - plain).mean() <= near, name
    few = a_picture().quantize(256)
    few.save(tmp_path / "palette.png")
    few.convert("RGB").save(tmp_path / "unfolded.png")
    assert np.array_equal(pixels_of(tmp_path / "palette.png"), pixels_of(tmp_path / "unfolded.png"))
    grey = a_picture().convert("L")
    grey.save(tmp_path / "grey.png")
    Image.fromarray(np.asarray(grey).astype(np.uint16) * 257).save(tmp_path / "deep.png")
    assert np.abs(pixels_of(tmp_path / "deep.png") - pixels_of(tmp_path / "grey.png")).max() <= 1


def test_colours_of_sixteen_bits_keep_their_upper_eight(tmp_path: Path) -> None:
    whole = np.asarray(a_picture())
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in whole * np.uint16(257))
    (tmp_path / "deep.png").write_bytes(png(640, 480, depth=16, colour=2, rows=rows))
    a_picture().save(tmp_path / "plain.png")
    assert np.array_equal(pixels_of(tmp_path / "deep.png"), pixels_of(tmp_path / "plain.png"))


def test_one_clear_colour_becomes_white(tmp_path: Path) -> None:
    flat = np.zeros((200, 200), np.uint16)
    flat[:, 100:] = 40_000
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in flat)
    (tmp_path / "deep.png").write_bytes(png(200, 200, chunk(b"tRNS", b"\0\0"), depth=16, colour=0, rows=rows))
    picture = Image.fromarray((flat // 257).astype(np.uint8)).convert("P")
    picture.save(tmp_path / "palette.png", transparency=0)
    for name in ("deep.png", "palette.png"):
        pixels = pixels_of(tmp_path / name)
        assert pixels[:, 50].min() == 255 and abs(pixels[:, -50].mean() - 155) < 2, name


@pytest.mark.parametrize("block", [b"", b"noise", b"II*\0\xff\xff\xff\x7f", b"II*\0\x08\0\0\0\xff\xff" + bytes(40)])
def test_damaged_metadata_spoil_no_picture(tmp_path: Path, block: bytes) -> None:
    data = saved(a_picture(), quality=90)
    (tmp_path / "plain.jpg").write_bytes(data)
    (tmp_path / "spoilt.jpg").write_bytes(with_segment(data, segment(0xE1, b"Exif\0\0" + block)))
    assert np.array_equal(pixels_of(tmp_path / "spoilt.jpg"), pixels_of(tmp_path / "plain.jpg"))


def test_heic_opens(tmp_path: Path) -> None:
    (tmp_path / "a.heic").write_bytes(HEIC)
    pixels = pixels_of(tmp_path / "a.heic")
    assert pixels.shape == (WORKING_SIDE, 618, 3)
    assert [pixels[y, x].argmax() for y, x in ((40, 40), (-40, 40), (40, -40))] == [0, 2, 1]


def test_a_large_jpeg_is_decoded_at_reduced_size_and_looks_the_same(tmp_path: Path) -> None:
    a_picture(2000, 1500).save(tmp_path / "large.jpg", quality=90)
    a_picture(2000, 1500).save(tmp_path / "large.png", compress_level=0)
    drafted, whole = (open_photo(tmp_path / f"large.{kind}").pixels.astype(float) for kind in ("jpg", "png"))
    assert np.abs(drafted - whole).mean() < 3.0


def _text(path: Path) -> None:
    path.write_text("no photo at all, just words")


def _truncated(path: Path) -> None:
    a_picture().save(path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _bomb(path: Path) -> None:
    Image.new("1", (13000, 13000)).save(path, format="PNG")


BAD = {
    "missing": (lambda path: None, "no such file"),
    "text": (_text, "is not a photo that can be read"),
    "truncated": (_truncated, "is damaged"),
    "empty": (lambda path: path.write_bytes(b""), "is empty"),
    "folder": (lambda path: path.mkdir(), "is a folder"),
    "tiny": (lambda path: a_picture(20, 20).save(path), "at least 64"),
    "strip": (lambda path: a_picture(3000, 70).save(path), "is a strip"),
    "bomb": (_bomb, "too many"),
    "gif": (lambda path: a_picture().save(path, format="GIF"), "is not a photo that can be read"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_is_no_photo_is_refused_in_one_sentence(tmp_path: Path, kind: str) -> None:
    make, says = BAD[kind]
    path = tmp_path / f"{kind}.jpg"
    make(path)
    with pytest.raises(PhotoError) as error:
        open_photo(path)
    text = str(error.value)
    assert str(path) in text and says in text and "\n" not in text and ";" in text


def test_one_colour_is_not_usable_and_says_so(tmp_path: Path) -> None:
    Image.new("RGB", (300, 300), (40, 90, 40)).save(tmp_path / "flat.png")
    photo = open_photo(tmp_path / "flat.png")
    assert not photo.usable and "almost one colour" in photo.notes[0]
