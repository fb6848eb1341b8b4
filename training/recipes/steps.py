"""The steps of a training, in their order; one that comes too early names the step that is missing."""

from __future__ import annotations

from collections.abc import Collection

from model.errors import SwardkeyError

STEPS = ("fit", "calibrate", "conformalize", "measure", "promote")


class StepError(SwardkeyError):
    """A step was asked for before an earlier one was done. Do the step that the message names first."""


def need(step: str, done: Collection[str]) -> None:
    """Raise StepError unless all steps before ``step`` are done.

    >>> need("calibrate", ["fit"])
    """
    for earlier in STEPS[: STEPS.index(step)]:
        if earlier not in done:
            raise StepError(f"cannot {step} yet: {earlier} is missing; the order is {', '.join(STEPS)}")
