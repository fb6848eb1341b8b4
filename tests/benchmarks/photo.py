"""One phone photo to a ranked answer, step by step, beside the naive way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import torch
from threadpoolctl import threadpool_limits

from model.identify import Key, identify
from model.photo.decode import open_photo as decode
from model.photo.model import load_model
from model.photo.sandbox import open_photo, the_sandbox
from model.photo.views import views
from tests.benchmarks.naive import Naive
from tests.benchmarks.stopwatch import medians, table

STEPS = ("decode", "views", "network", "answer")
TOLD = {
    "decode": "decode (whole, against Image.draft and scale)",
    "views": "cut twelve views",
    "network": "network (torch eager, against ONNX Runtime)",
    "answer": "photo to ranked answer",
}


@dataclass(frozen=True)
class PhotoFigures:
    """Median milliseconds of each step, and whether both ways put the same plant first."""

    ours: dict[str, float]
    naive: dict[str, float]
    same_first: bool

    @property
    def faster(self) -> float:
        """How many times faster than the naive way."""
        return self.naive["answer"] / self.ours["answer"]

    @property
    def over_parts(self) -> float:
        """What decode, views, network and all the rest take, over decode and network alone."""
        return self.ours["answer"] / (self.ours["decode"] + self.ours["network"])

    def __str__(self) -> str:
        rows = []
        for step in STEPS:
            naive, ours = self.naive[step], self.ours[step]
            rows.append([TOLD[step], f"{naive:.0f}", f"{ours:.0f}", f"{naive / ours:.1f}"])
        return (
            table(["one 12-megapixel photo, median ms", "naive", "swardkey", "times faster"], rows)
            + f"\n\nThe whole takes {self.over_parts:.2f} times as long as decode and network alone. "
            + f"Both ways put the same plant first: {'yes' if self.same_first else 'no'}."
        )


def photo_figures(file: Path, rounds: int, threads: int) -> PhotoFigures:
    """Measure both ways on one photo, step by step, in turn."""
    key, model = Key(), load_model(threads=threads)
    naive = Naive(threads, model.classifier)
    pixels, picture = decode(file).pixels, naive.decode(file)
    ours_cut, naive_cut = views(pixels), tuple(torch.from_numpy(stack) for stack in views(pixels))
    the_sandbox().start()
    with threadpool_limits(1, "blas"):  # as in the program
        found = medians(
            {
                "ours decode": lambda: decode(file),
                "naive decode": lambda: naive.decode(file),
                "ours views": lambda: views(pixels),
                "naive views": lambda: naive.views(picture),
                "ours network": lambda: model.extractor.features_of_views(ours_cut),
                "naive network": lambda: naive.network_alone(naive_cut),
                "ours answer": lambda: identify(key, {}, model.look([open_photo(file)])),
                "naive answer": lambda: naive.answer(file, key),
            },
            rounds,
        )
    first = identify(key, {}, model.look([open_photo(file)])).candidates[0].species
    return PhotoFigures(
        {step: found[f"ours {step}"] for step in STEPS},
        {step: found[f"naive {step}"] for step in STEPS},
        first == naive.answer(file, key).candidates[0].species,
    )
