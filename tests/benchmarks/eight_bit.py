"""Would weights of eight bits serve? Size, time and held-out accuracy of the network in 8-bit integers.

python -m tests.benchmarks.eight_bit ../shared/photos [PHOTOS]
"""

from __future__ import annotations

import logging
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import onnxruntime
from numpy.typing import NDArray
from onnx import version_converter

from model.photo.decode import open_photo
from model.photo.saved import STARTER
from model.photo.tuned import read_classifier
from model.photo.views import views
from model.photo.weights import read_shipped
from tests.benchmarks.stopwatch import load, medians, table
from training.data.manifest import LabelledPhoto, read_manifest
from training.data.split import split
from training.recipes.recipe import load_recipe

Array = NDArray[np.float64]
KINDS = {"float": "32-bit floats, as shipped", "dynamic": "8 bits, dynamic", "static": "8 bits, static"}
SHOWN = 24  # photos of the fit part that the static kind takes its ranges from
ALLOWED = 1.0  # points of top-1 that eight bits may cost


@dataclass(frozen=True)
class EightBitFigures:
    """By kind: megabytes, median ms for twelve views by one thread, share right, share named like the floats."""

    photos: int
    size: dict[str, float]
    time: dict[str, float]
    right: dict[str, float]
    agree: dict[str, float]

    def __str__(self) -> str:
        rows = [
            [words, f"{self.size[k]:.1f}", f"{self.time[k]:.0f}", f"{self.right[k]:.1%}", f"{self.agree[k]:.1%}"]
            for k, words in KINDS.items()
        ]
        head = ["network", "MB", "ms, twelve views, one thread", f"top-1 of {self.photos} held out", "same first"]
        drop = 100 * (self.right["float"] - self.right["static"])
        verdict = "within" if drop <= ALLOWED else "more than"
        return table(head, rows) + f"\n\nStatic eight bits cost {drop:.1f} points: {verdict} the {ALLOWED:g} allowed."


def eight_bit_figures(folder: Path, count: int, rounds: int) -> EightBitFigures:
    """Measure on ``count`` held-out photos, evenly chosen, with the shipped head as it is."""
    logging.getLogger().setLevel(logging.ERROR)
    recipe, photos = load_recipe("quick"), read_manifest(folder)
    parts = np.array(split(photos, recipe.shares, recipe.seed))
    fit, held = (np.flatnonzero(parts == part) for part in ("fit", "held_out"))
    even = np.unique(np.linspace(0, len(held) - 1, min(count, len(held))).astype(int))
    tried = [photos[row] for row in held[even]]
    shown = [photos[row] for row in fit[:: max(1, len(fit) // SHOWN)][:SHOWN]]
    with tempfile.TemporaryDirectory() as made:
        files = _graphs(Path(made), shown)
        size = {kind: file.stat().st_size / 1e6 for kind, file in files.items()}
        run = {kind: _runner(file) for kind, file in files.items()}
    cut = views(open_photo(tried[0].file).pixels)
    time = medians({kind: lambda run_=run_: run_(cut) for kind, run_ in run.items()}, rounds)
    first, truth = _first(run, tried)
    right = {kind: float((first[kind] == truth).mean()) for kind in KINDS}
    agree = {kind: float((first[kind] == first["float"]).mean()) for kind in KINDS}
    return EightBitFigures(len(tried), size, time, right, agree)


def _first(
    run: dict[str, Callable[[Any], Array]], photos: Sequence[LabelledPhoto]
) -> tuple[dict[str, NDArray[np.int64]], NDArray[np.int64]]:
    """The column that each kind puts first, and the right one, by photo."""
    classifier = read_classifier(STARTER)
    columns = {species: column for column, species in enumerate(classifier.species)}
    rows: dict[str, list[Array]] = {kind: [] for kind in run}
    for number, photo in enumerate(photos):
        cut = views(open_photo(photo.file).pixels)
        for kind, look in run.items():
            rows[kind].append(look(cut))
        if number % 100 == 99:
            sys.stderr.write(f"{number + 1} of {len(photos)} photos\n")
    first = {kind: classifier.probabilities(np.stack(x)).argmax(axis=1) for kind, x in rows.items()}
    return first, np.array([columns.get(photo.label, len(columns)) for photo in photos])


def _graphs(folder: Path, shown: Sequence[LabelledPhoto]) -> dict[str, Path]:
    from onnxruntime.quantization import QuantFormat, QuantType, quantize_dynamic, quantize_static

    files = {kind: folder / f"{kind}.onnx" for kind in KINDS}
    # In a newer version, which knows scales by channel, and with normalisations folded in, as the runtime does it.
    newer = version_converter.convert_version(onnx.load_from_string(read_shipped()), 17)
    options = onnxruntime.SessionOptions()
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    options.optimized_model_filepath = str(files["float"])
    onnxruntime.InferenceSession(newer.SerializeToString(), options, providers=["CPUExecutionProvider"])
    quantize_dynamic(files["float"], files["dynamic"], weight_type=QuantType.QUInt8)
    quantize_static(
        files["float"],
        files["static"],
        _Shown(shown),
        quant_format=QuantFormat.QDQ,
        activation_type=QuantType.QUInt8,
        weight_type=QuantType.QInt8,
        per_channel=True,
    )
    return files


class _Shown:
    """Hands the runtime one view after another to take its ranges from."""

    def __init__(self, photos: Sequence[LabelledPhoto]) -> None:
        self._views = self._each(photos)

    @staticmethod
    def _each(photos: Sequence[LabelledPhoto]) -> Iterator[NDArray[np.float32]]:
        for photo in photos:
            for stack in views(open_photo(photo.file).pixels):
                yield from (stack[place : place + 1] for place in (0, 3))  # the whole, and a part

    def get_next(self) -> dict[str, NDArray[np.float32]] | None:
        """The next view; None after the last."""
        view = next(self._views, None)
        return None if view is None else {"views": view}


def _runner(file: Path) -> Callable[[Any], Array]:
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads, options.log_severity_level = 1, 3
    session = onnxruntime.InferenceSession(file.read_bytes(), options, providers=["CPUExecutionProvider"])

    def look(stacks: tuple[NDArray[np.float32], ...]) -> Array:
        pooled = [session.run(None, {"views": view[None]})[0][0] for stack in stacks for view in stack]
        return np.asarray(np.sqrt(np.stack(pooled).mean(axis=0, dtype=np.float64)))

    return look


if __name__ == "__main__":
    print(eight_bit_figures(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 300, 7))
    print(load())
