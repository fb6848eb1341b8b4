"""Networks that never learned half of the classes, made as the shipped one is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from training.data.manifest import LabelledPhoto, read_manifest


def halves_of(photos: Sequence[LabelledPhoto]) -> list[frozenset[str]]:
    """The classes in two halves: dealt in turn, source by source, so that each has some of every kind."""
    named = sorted({(photo.source, photo.label) for photo in photos})
    return [frozenset(label for i, (_, label) in enumerate(named) if i % 2 == half) for half in range(2)]


def network_without(half: int, photos: Path, networks: Path) -> bytes:
    """The network that never learned a half of the classes, from NETWORKS/0 or 1; made there where it is missing."""
    file = networks / str(half) / "backbone.onnx"
    if not file.exists():
        # Needs torch, which reading one does not.
        from training.finetune.starter_network import make

        make(photos, file.parent, sorted(halves_of(read_manifest(photos))[half]))
    return file.read_bytes()
