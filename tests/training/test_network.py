"""The network in torch against an independent implementation of it, and against the file that it becomes."""

from __future__ import annotations

import numpy as np
import pytest
import torch

from model.photo.extract import Network
from model.photo.views import LARGE_SIDE, SIDE
from model.photo.weights import SHIPPED, read_shipped
from training.finetune.imagenet import imagenet_weights, load_imagenet
from training.finetune.network import Lite0, export, load_shipped

timm = pytest.importorskip(
    "timm",
    reason="without timm a network unlike the published one, which names plants wrongly, goes unseen",
)


def test_features_equal_those_of_timm_to_the_last_bit() -> None:
    other = timm.create_model("tf_efficientnet_lite0", pretrained=False).eval()
    tensors = torch.load(imagenet_weights(), weights_only=True).values()
    other.load_state_dict(dict(zip(other.state_dict(), tensors, strict=True)))
    ours = load_imagenet()
    for side in (224, 288):
        x = torch.randn(1, 3, side, side, generator=torch.Generator().manual_seed(1)).clamp(-1, 1)
        with torch.inference_mode():
            assert torch.equal(ours(x), other.forward_head(other.forward_features(x), pre_logits=True))


def test_it_has_the_published_number_of_parameters() -> None:
    # 4.7 M with an ImageNet classifier of 1.28 M: from the published description of the lite variants.
    assert sum(p.numel() for p in Lite0().parameters()) == pytest.approx(4.65e6 - 1.281e6, rel=0.02)


def test_the_exported_file_gives_what_the_network_gives_at_every_size() -> None:
    net = load_shipped()
    run = Network(read_shipped(), threads=1)
    for side in (SIDE, LARGE_SIDE, 96):
        x = torch.rand(1, 3, side, side, generator=torch.Generator().manual_seed(side)) * 2 - 1
        with torch.inference_mode():
            wanted = net(x)[0].sqrt().numpy()
        assert np.allclose(run.features_of_views((x.numpy(),)), wanted, atol=1e-4)


def test_what_is_exported_again_is_alike_and_ready_to_be_loaded() -> None:
    net = load_shipped()
    with torch.no_grad():
        net.head[1][0].bias += 0.25
    data = export(net)
    assert abs(len(data) - SHIPPED.stat().st_size) < 1000 and SHIPPED.stat().st_size < 20e6
    x = np.full((1, 3, 64, 64), 0.5, np.float32)
    changed, shipped = (Network(d, threads=1).features_of_views((x,)) for d in (data, read_shipped()))
    with torch.inference_mode():
        assert np.allclose(changed, net(torch.from_numpy(x))[0].sqrt().numpy(), atol=1e-4)
    assert np.abs(changed - shipped).max() > 0.01
