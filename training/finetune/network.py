"""The network that is fine-tuned: lower blocks kept as they are, upper ones and a linear head learned."""

from __future__ import annotations

import torch
from torch import Tensor, nn

from model.photo import Statistics
from model.photo.backbone import Lite0
from model.photo.head import Discriminant
from model.photo.weights import FEATURES

LEAST = 1e-4  # added before the square root, whose slope at 0 has no bound


class TuningNet(nn.Module):
    """Backbone and linear head over square roots of pooled features.

    ``kept`` lower blocks, and the stem with them if there are any, are not learned. Batch
    normalisations keep the means and variances that they came with: small batches would give poor ones,
    and a share of a batch in each of several processes other ones.
    """

    def __init__(self, backbone: Lite0, classes: int, kept: int) -> None:
        super().__init__()
        self.backbone = backbone
        self.linear = nn.Linear(FEATURES, classes)
        self.kept = kept
        if kept:
            for part in (backbone.stem, backbone.blocks[:kept]):
                part.requires_grad_(False)
        backbone.classifier.requires_grad_(False)
        self.eval()

    def forward(self, x: Tensor) -> Tensor:
        """Logits (n, classes) of views (n, 3, h, w) in -1..1."""
        with torch.set_grad_enabled(torch.is_grad_enabled() and not self.kept):
            x = self.backbone.blocks[: self.kept](self.backbone.stem(x))
        pooled = self.backbone.head(self.backbone.blocks[self.kept :](x)).mean(dim=(2, 3))
        logits: Tensor = self.linear((pooled + LEAST).sqrt())
        return logits

    def learned(self) -> list[nn.Parameter]:
        """The parameters that are learned."""
        return [p for p in self.parameters() if p.requires_grad]

    def start_head(self, statistics: Statistics, shrinkage: float, temperature: float) -> None:
        """Set the linear head to the closed-form one, so that learning begins where that ends.

        ``statistics`` in the order of the classes. A linear discriminant is linear in the features.
        """
        head = Discriminant(statistics, shrinkage)
        weight, bias = head.linear()
        with torch.no_grad():
            self.linear.weight.copy_(torch.from_numpy(weight / temperature))
            self.linear.bias.copy_(torch.from_numpy(bias / temperature))
