"""The faults of tests.security.faults, a few of each: killed, refused, held, at once, by a clock that was set back."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.security import fault_disk, fault_together
from tests.security.fault_bench import Bench, Tally
from tests.security.fault_stores import STORES
from tests.security.faults import kill_at_points
from tests.security.forked import warm_up

pytestmark = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="without fork nothing is killed half-way, so a store torn by a crash goes unseen"
)
QUICK = ("records: sign", "migration", "collection: relabel")  # the others are killed by the tests beside them


@pytest.fixture(autouse=True, scope="module")
def _loaded() -> None:
    warm_up()


def kept(tally: Tally) -> None:
    assert not tally.broken, "\n".join(tally.broken)
    assert tally.half_done == tally.signed_lost == tally.tracebacks == 0 and tally.runs


@pytest.mark.parametrize("name", QUICK)
def test_killed_refused_or_held_it_is_as_before_or_as_after_and_works_on(name: str, tmp_path: Path) -> None:
    bench = Bench(next(store for store in STORES if store.name == name), tmp_path / "bench")
    killed = kill_at_points(bench, 3)
    kept(killed)
    assert killed.before and killed.runs == 3
    refused = fault_disk.refused_at_points(bench, fault_disk.FULL, "no space", 1)
    kept(refused)
    assert refused.before == 1, "the first thing it writes was refused"
    if name == "collection: relabel":
        kept(fault_disk.refused_at_points(bench, fault_disk.READ_ONLY, "read-only", 1))
        kept(fault_disk.held_by_another(bench))


@pytest.mark.parametrize(
    "story",
    [
        fault_together.two_migrations,
        fault_together.clock_set_back,
        fault_together.clock_of_models,
        fault_together.clock_of_the_collection,
    ],
)
def test_at_once_or_by_a_clock_that_was_set_back_nothing_is_lost(story: object, tmp_path: Path) -> None:
    kept(story(tmp_path / "story"))  # type: ignore[operator]


def test_two_programs_that_keep_the_same_photo_never_leave_half_of_it(tmp_path: Path) -> None:
    kept(fault_together.one_photo_twice(tmp_path / "story", times=4))


def test_a_store_that_is_left_half_done_is_found_out(tmp_path: Path) -> None:
    """The bench itself: a program that writes in place, and is killed in the middle."""
    from tests.security.fault_stores import Store, home_of

    def careless() -> None:
        with (home_of() / "file").open("w") as file:
            file.write("n")
        os.fsync(os.open(home_of() / "file", os.O_RDONLY))
        (home_of() / "file").write_text("new")

    def state(home: Path) -> str:
        return (home / "file").read_text()

    def prepare(home: Path) -> None:
        (home / "file").write_text("old")

    tally = kill_at_points(Bench(Store("careless", prepare, careless, state), tmp_path / "bench"), 4)
    assert tally.half_done >= 2 and tally.broken
