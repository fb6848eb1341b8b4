"""Sets of log-probabilities weighed against each other."""

from __future__ import annotations

import numpy as np
import pytest

from training.head.fusion import fit_pool


def made(noise: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    truth = np.arange(600) % 4
    return np.eye(4)[truth] * 3 + random.normal(0, noise, (600, 4)), truth


def test_the_better_of_two_weighs_more_and_the_useless_nothing() -> None:
    good, truth = made(1.0, 1)
    poor, _ = made(6.0, 2)
    one, other = fit_pool([poor, good], truth).weights
    assert other > 5 * one > 0
    nothing = np.random.default_rng(3).normal(0, 1, (600, 4))
    one, other = fit_pool([nothing, good], truth).weights
    assert one < 0.1 * other


def test_the_scale_of_the_logs_makes_no_difference() -> None:
    one, truth = made(2.0, 1)
    other, _ = made(2.0, 2)
    plain, scaled = fit_pool([one, other], truth), fit_pool([one, other * 50], truth)
    assert scaled.loss == pytest.approx(plain.loss, abs=1e-5)
    assert scaled.weights[1] * 50 == pytest.approx(plain.weights[1], rel=1e-2)


def test_together_they_leave_less_loss_than_the_better_alone() -> None:
    one, truth = made(2.0, 1)
    other, _ = made(2.0, 2)
    assert fit_pool([one, other], truth).loss < min(fit_pool([each], truth).loss for each in (one, other))


def test_three_that_say_the_same_of_few_photos_share_alike() -> None:
    one, truth = made(2.0, 1)
    first, second, third = fit_pool([one[:40]] * 3, truth[:40]).weights
    assert first == pytest.approx(second, rel=1e-3) == pytest.approx(third, rel=1e-3)


def test_weights_are_calibrated() -> None:
    # Logs that are twice too sure are halved.
    random = np.random.default_rng(5)
    logs = random.normal(0, 1.5, (20000, 3))
    chances = np.exp(logs) / np.exp(logs).sum(axis=1, keepdims=True)
    truth = np.array([random.choice(3, p=p) for p in chances])
    assert fit_pool([logs * 2], truth).weights[0] == pytest.approx(0.5, abs=0.03)
