"""The pixels of many photos, opened once and kept on the disk while they are learned from."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from model.photo.sandbox import open_photo
from training.data.manifest import LabelledPhoto

Pixels = Sequence[NDArray[np.uint8]]


@contextmanager
def keep_pixels(
    photos: Sequence[LabelledPhoto], progress: Callable[[int], None] = lambda done: None
) -> Iterator[Pixels]:
    """Pixels uint8 (height, width, 3) of each photo, as it is opened in use; read from a file when needed.

    A photo takes about 0.7 MB, for as long as the context lasts. Raises PhotoError.
    """
    with tempfile.TemporaryDirectory(prefix="swardkey-") as folder:
        path, shapes = Path(folder) / "pixels", []
        with path.open("wb") as file:
            for done, photo in enumerate(photos, start=1):
                pixels = open_photo(photo.file).pixels
                file.write(np.ascontiguousarray(pixels).tobytes())
                shapes.append(pixels.shape)
                progress(done)
        kept, start = [], 0
        for shape in shapes:
            kept.append(np.memmap(path, np.uint8, "r", start, shape))
            start += int(np.prod(shape))
        try:
            yield kept
        finally:
            kept.clear()
