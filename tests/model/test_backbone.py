"""The backbone against an independent implementation of the same network."""

from __future__ import annotations

import pytest
import torch

from model.photo.backbone import Lite0, load_backbone
from model.photo.graph import Engine
from model.photo.views import LARGE_SIDE, SIDE
from model.photo.weights import load_weights
from training.adapt.imagenet import imagenet_weights
from training.adapt.nets import imagenet

timm = pytest.importorskip(
    "timm",
    reason="without timm a network unlike the published one, which names plants wrongly, goes unseen",
)


@pytest.mark.parametrize("side", [224, 288])
def test_features_and_logits_equal_those_of_timm_to_the_last_bit(side: int) -> None:
    given = torch.load(imagenet_weights(), weights_only=True)
    other = timm.create_model("tf_efficientnet_lite0", pretrained=False).eval()
    other.load_state_dict(dict(zip(other.state_dict(), given.values(), strict=True)))
    ours = imagenet("lite0").to(memory_format=torch.contiguous_format)
    x = torch.randn(1, 3, side, side, generator=torch.Generator().manual_seed(1)).clamp(-1, 1)
    with torch.inference_mode():
        assert torch.equal(ours(x), other(x))
        assert torch.equal(ours.features(x), other.forward_head(other.forward_features(x), pre_logits=True))


def test_it_has_the_published_number_of_parameters() -> None:
    # 4.7 M with the ImageNet classifier: value from the published description of the lite variants.
    assert sum(p.numel() for p in Lite0().parameters()) == pytest.approx(4.65e6, rel=0.02)


def test_the_fast_graph_gives_what_the_network_gives() -> None:
    network = load_backbone()
    engine = Engine(load_weights(), threads=1)
    for side in (SIDE, LARGE_SIDE, 225):
        x = torch.rand(2, 3, side, side, generator=torch.Generator().manual_seed(side)) * 2 - 1
        with torch.inference_mode():
            wanted = network.features(x).numpy()
        assert abs(engine.pooled(x.numpy()) - wanted).max() < 1e-4
