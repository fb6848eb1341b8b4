"""Make the network that is shipped again: ImageNet's, adapted to plants as configs/recipes/starter.yaml says.

    python -m training.finetune.starter_network PHOTOS OUT [--without CLASS...]

learns the fit part of a folder of photos with a manifest.csv, and drawings of every species; writes OUT/backbone.onnx
and prints its sha256. Copy that file to model/starter, note the sha256 and a new name in model/photo/weights.py, and
make the starter anew (python -m training.recipes.make_starter): all features have changed. A run that was interrupted
is resumed in OUT. A GPU takes minutes, two cores some hours, and neither gives the same bits twice: the network is
alike, not the same. ``--without`` leaves classes out, to see how plants fare that it never learned.
"""

from __future__ import annotations

from training.finetune.torch_install import exit_without_torch

if __name__ == "__main__":  # before the imports below miss it
    exit_without_torch("python -m training.finetune.starter_network")

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional
from torch.utils.data import WeightedRandomSampler

from model.errors import SwardkeyError
from model.file import sha256_of
from model.flora.load import CONFIGS, load_flora, read_as
from model.photo import fit_statistics
from model.photo.views import whole_views
from model.photo.weights import FEATURES, SHIPPED
from training.data.manifest import read_manifest
from training.data.pixels import keep_pixels
from training.data.split import split
from training.drawn.album import plan_album
from training.drawn.picture import draw_scene
from training.finetune.augment import Pixels, Views, batches_of
from training.finetune.imagenet import load_imagenet
from training.finetune.loop import Plan, fine_tune, log_shares
from training.finetune.network import Lite0, TuningNet, export
from training.finetune.tuning_settings import StarterTraining
from training.recipes.recipe import load_recipe

START_SHRINKAGE, START_TEMPERATURE = 0.2, 5.0  # of the closed-form head that learning begins from
EPOCH = 50  # steps between which progress is kept
PROJECTED = 128  # numbers by which a photo is recognised


@dataclass(frozen=True)
class Pictures:
    """What is learned from: pixels uint8 (height, width, 3), the class of each, and which are drawn."""

    pixels: Sequence[Pixels]
    labels: Sequence[str]
    drawn: NDArray[np.bool_]

    @property
    def columns(self) -> NDArray[np.int64]:
        """The class of each as a number."""
        return np.unique(np.array(self.labels), return_inverse=True)[1]

    def chances(self, settings: StarterTraining) -> NDArray[np.float64]:
        """How often each is drawn, float (pictures,), sum 1: drawings together their share of the time."""
        columns = self.columns
        weights = np.bincount(columns)[columns].astype(np.float64) ** -settings.evened
        for kind, share in ((~self.drawn, 1 - settings.drawn_share), (self.drawn, settings.drawn_share)):
            if kind.any():
                weights[kind] *= share / weights[kind].sum()
        return np.asarray(weights / weights.sum())


def adapt(pictures: Pictures, settings: StarterTraining, start: Lite0, folder: Path, device: torch.device) -> Lite0:
    """Learn, and give the network that lies ``blend`` of the way from ``start``, which is changed."""
    before = {name: tensor.clone() for name, tensor in start.state_dict().items()}
    columns, chances = pictures.columns, pictures.chances(settings)
    classes = int(columns.max()) + 1
    torch.manual_seed(settings.seed)
    net = TuningNet(start, classes, settings.kept_blocks).to(device)
    projection = nn.Sequential(nn.Linear(FEATURES, 512), nn.ReLU(), nn.Linear(512, PROJECTED)).to(device)
    net.add_module("projection", projection)
    statistics = fit_statistics(_roots_of(net, pictures.pixels, settings.side), [f"{c:05d}" for c in columns])
    net.start_head(statistics, START_SHRINKAGE, START_TEMPERATURE)
    shares = log_shares(columns, chances).to(device)

    def loss(x: Tensor, labels: Tensor) -> Tensor:
        roots = net.roots(x)
        first, second = projection(roots).chunk(2)
        recognised = recognition_loss(first, second, settings.temperature)
        return functional.cross_entropy(net.linear(roots) + shares, labels) + settings.recognition * recognised

    epochs = -(-settings.steps // EPOCH)
    sampler = WeightedRandomSampler(chances.tolist(), settings.batch * (settings.steps // epochs))
    batches = batches_of(Views(pictures.pixels, columns.tolist(), settings, 2), settings, classes, device, sampler)
    plan = Plan(epochs, settings.rate, settings.decay, settings.average_steps, settings.seed)
    fine_tune(net, batches, loss, plan, folder, None, lambda done: _progress("steps", done, epochs * len(batches)))
    learned: Lite0 = net.cpu().backbone
    learned.load_state_dict(
        {
            n: torch.lerp(before[n], t, settings.blend) if t.is_floating_point() else t
            for n, t in learned.state_dict().items()
        }
    )
    return learned


def recognition_loss(first: Tensor, second: Tensor, temperature: float) -> Tensor:
    """Loss of finding each photo's other view among those of all photos (NT-Xent; Chen et al. 2020).

    ``first``, ``second`` float (n, numbers) of two views of the same n photos.
    """
    z = functional.normalize(torch.cat([first, second]), dim=1)
    alike = z @ z.T / temperature
    alike.fill_diagonal_(float("-inf"))
    return functional.cross_entropy(alike, torch.arange(len(z), device=z.device).roll(len(first)))


@torch.no_grad()
def _roots_of(net: TuningNet, pictures: Sequence[Pixels], side: int) -> NDArray[np.float64]:
    """Features of one whole view of each picture, float (pictures, FEATURES)."""
    device, found = net.linear.weight.device, []
    for number, pixels in enumerate(pictures):
        found.append(net.roots(torch.from_numpy(whole_views(pixels, side)[:1]).to(device))[0].cpu().numpy())
        _progress("pictures seen", number + 1, len(pictures))
    return np.array(found, np.float64)


def drawings_of(settings: StarterTraining, without: Sequence[str]) -> tuple[list[Pixels], list[str]]:
    """Drawings of every species and of the plain lawn, each a class of its own."""
    flora = load_flora().species
    plans = [one for one in plan_album(sorted(flora), settings.drawings) if one.species not in without]
    pixels = []
    for number, one in enumerate(plans):
        species = flora.get(one.species)
        pixels.append(np.asarray(draw_scene(one.scene(species), species, settings.drawn_side)))
        _progress("drawings", number + 1, len(plans))
    return pixels, [f"drawn:{one.species}" for one in plans]


def _progress(what: str, done: int, of: int) -> None:
    if done % 50 == 0 or done == of:
        sys.stderr.write(f"\r{what}: {done} of {of}" + ("\n" if done == of else ""))
        sys.stderr.flush()


def make(photos: Path, out: Path, without: Sequence[str] = ()) -> str:
    """Learn and write OUT/backbone.onnx; its sha256. Raises SwardkeyError, OSError."""
    settings, quick = read_as(CONFIGS / "recipes" / "starter.yaml", StarterTraining), load_recipe("quick")
    every = read_manifest(photos)
    fit = [photo for photo, part in zip(every, split(every, quick.shares, quick.seed), strict=True) if part == "fit"]
    chosen = [photo for photo in fit if photo.label not in without]
    drawn, drawn_labels = drawings_of(settings, without)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    with keep_pixels(chosen) as pixels:
        marks = np.repeat([False, True], [len(chosen), len(drawn)])
        pictures = Pictures([*pixels, *drawn], [*(photo.label for photo in chosen), *drawn_labels], marks)
        net = adapt(pictures, settings, load_imagenet(), out, device)
    file = out / SHIPPED.name
    file.write_bytes(export(net))
    return f"{file}: sha256 {sha256_of(file)}"


def main(arguments: list[str]) -> int:
    """Make the network; 2 on bad input."""
    parser = argparse.ArgumentParser(prog="python -m training.finetune.starter_network")
    parser.add_argument("photos", type=Path, help="a folder of photos with a manifest.csv")
    parser.add_argument("out", type=Path, help="folder for the network, and for progress that is resumed")
    parser.add_argument("--without", nargs="*", default=[], metavar="CLASS", help="classes that are left out")
    given = parser.parse_args(arguments)
    try:
        print(make(given.photos, given.out, given.without))
    except SwardkeyError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
