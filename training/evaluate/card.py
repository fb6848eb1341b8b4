"""The model card: what it learned from, how it was measured, and what it cannot do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from model.photo import Classifier
from training.data.manifest import LabelledPhoto
from training.evaluate.measure import Measurement

ADAPTATION = "adaptation.md"  # beside the model: what training/adapt says of its network
INTRO = """# Card of the starter photo model

EfficientNet-Lite0 (ImageNet weights, Apache-2.0, adapted to plants on the photos below and on our own
drawings) and a closed-form head: shrinkage discriminant analysis on the square root of the features, averaged
over twelve views: six parts of the photo at 288 px, and the same mirrored at 416 px.
The head is kept as counts, means and one pooled scatter; no photo can be restored from it.

**Use.** Ranks the species below from photos of one plant, as one piece of evidence beside the
answers of a person. Never enough to name a plant. Every species not listed here takes the
evidence of `other`.

**Not for.** Anything but the key of this project; plants outside the classes; medical, legal or
food decisions.
"""

LIMITS = """## What to know before trusting it

- The network has learned the fit part of these photos too. The figures above are of held-out photos, which neither
  network nor head has seen, but of plants that both know; `AUROC if unseen` leaves a plant out of the head alone and
  so flatters. What is left out of the network as well is judged in the table of trials at the end.
- Most classes come from one source each, so the model may tell sources apart rather than
  plants: white clover only from one phone, dandelion only from shared photos with many flowers
  and seed heads, all others only from seedlings on gravel, seen from above. Figures across
  sources are therefore too good; the fair ones are within a source, and only where groups are
  known.
- The seedling photos show the same plants several times and name no plant. Their split is by
  photo, so their figures are those of the published random-split benchmark, not of new plants.
- A field photo of a grown plant of a class that is known only from seedlings will mostly be
  taken for `other`.
- Dependence between photos was fitted on photos of one photographer or day, which are less alike
  than photos of one plant: several photos may count for a little too much.
"""


def card(
    classifier: Classifier,
    account: Mapping[str, Any],
    measured: Mapping[str, Measurement],
    novelty: Mapping[str, float],
    photos: Sequence[LabelledPhoto],
    adaptation: str,
) -> str:
    """The whole card as Markdown; ``adaptation``: what training/adapt says of the network, "" where not known."""
    parts = [
        INTRO,
        _data(photos, account),
        _figures(measured),
        _classes(classifier, measured, novelty),
        _fitted(classifier, account),
        LIMITS,
        adaptation.replace("# ", "## ", 1),
    ]
    return "\n".join(parts)


def _data(photos: Sequence[LabelledPhoto], account: Mapping[str, Any]) -> str:
    rows = Counter((p.source, p.licence, p.group_known) for p in photos)
    lines = ["## Learned from", "", "| source | licence | photos | groups |", "|---|---|---|---|"]
    for (source, licence, known), count in sorted(rows.items()):
        lines.append(f"| {source} | {licence} | {count} | {'known' if known else 'not known: split by photo'} |")
    split = ", ".join(
        f"{part} {n} ({account['groups_by_part'][part]} groups)" for part, n in account["photos_by_part"].items()
    )
    return "\n".join([*lines, "", f"Parts, split by group: {split}.", ""])


def _figures(measured: Mapping[str, Measurement]) -> str:
    lines = [
        "## Held-out figures",
        "",
        "ECE is to be read against its null: the 95th percentile of a perfectly calibrated model on as many photos.",
        "",
        "| photos of | photos | groups | top-1 | balanced | top-3 | NLL | ECE | null |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for name, m in measured.items():
        lines.append(
            f"| {name} | {m.photos} | {m.groups} | {m.top1:.3f} | {m.balanced_top1:.3f} | {m.top3:.3f} "
            f"| {m.nll:.3f} | {m.ece:.3f} | {m.ece_null:.3f} |"
        )
    above = [name for name, m in measured.items() if m.ece > m.ece_null]
    told = (
        f"Calibration is off, by more than chance, on: {', '.join(above)}."
        if above
        else "Calibration is within chance."
    )
    return "\n".join([*lines, "", told, ""])


def _classes(classifier: Classifier, measured: Mapping[str, Measurement], novelty: Mapping[str, float]) -> str:
    lines = [
        "## By class",
        "",
        "Recall held out; and how well its strangeness shows a class that was never learned (AUROC, 0.5 is chance).",
        "",
        "| class | learned from | recall | AUROC if unseen |",
        "|---|---|---|---|",
    ]
    recall = measured["all"].per_class
    for name, count in zip(classifier.statistics.classes, classifier.statistics.counts, strict=True):
        shown = recall.get(name if name in classifier.species else "other")
        text = "-" if shown is None else f"{shown:.3f}" + ("" if name in classifier.species else " (all of `other`)")
        lines.append(f"| {name} | {int(count)} | {text} | {novelty.get(name, float('nan')):.3f} |")
    return "\n".join([*lines, ""])


def _fitted(classifier: Classifier, account: Mapping[str, Any]) -> str:
    c = classifier.calibration
    return (
        "## Fitted values\n\n"
        f"shrinkage {c.shrinkage:g} (balanced accuracy in grouped folds: {account['balanced_accuracy_by_shrinkage']}); "
        f"temperature {c.temperature:.2f}; strangeness (from field photos): "
        f"of learned classes {c.novelty[0]:.3f} +- {c.novelty[1]:.3f}, "
        f"of classes left out {c.novelty[2]:.3f} +- {c.novelty[3]:.3f}; "
        f"floor {c.floor:.3f}; dependence {c.dependence:.2f}.\n"
    )
