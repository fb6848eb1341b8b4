"""Fixtures that all tests share: one seed, one key, and where the photos lie."""

from __future__ import annotations

import gc
import os

# Before numpy and torch are imported, and for the programs that tests start: two processes with two threads each on two
# processors mostly wait for one another.
for _library in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_library, "1")
gc.disable()  # while tests are collected: hardly anything is thrown away then

import random  # noqa: E402
import signal  # noqa: E402
from pathlib import Path  # noqa: E402
from typing import Any  # noqa: E402

import numpy as np  # noqa: E402
import pytest  # noqa: E402

from app.services.knowledge import ParsedFiles  # noqa: E402
from model.control import Control, load_control  # noqa: E402
from model.identify import Key  # noqa: E402

# A shell that starts the tests in the background has them ignore Ctrl-C, which some tests send.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

ROOT = Path(__file__).resolve().parents[1]
PHOTOS = ROOT.parent / "shared" / "photos"


def pytest_collection_finish() -> None:
    """From here on garbage is collected, but not among all that was imported."""
    gc.freeze()
    gc.enable()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: Any, log: Any) -> Any:
    """Neighbouring tests stay on one process, which sets up their fixtures once; an idle one steals work."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log) if config.getvalue("dist") == "load" else None


@pytest.fixture(autouse=True)
def _one_seed() -> None:
    random.seed(20261125)
    np.random.seed(20261125)


@pytest.fixture(scope="session")
def parsed_configs() -> Path:
    """What a first start parses of configs/ and keeps, for all processes and the next run: a changed file is parsed."""
    files = ParsedFiles(ROOT / "cache" / "tests" / "configs.json")
    load_control(Key(read=files).flora, read=files)
    files.keep()
    return files.kept


@pytest.fixture(autouse=True)
def _home_of_the_test(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, parsed_configs: Path) -> None:
    monkeypatch.setenv("SWARDKEY_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("SWARDKEY_CACHE", str(parsed_configs.parent))


@pytest.fixture(scope="session")
def key(parsed_configs: Path) -> Key:
    """The key over the whole flora, loaded once."""
    return Key(read=ParsedFiles(parsed_configs))


@pytest.fixture(scope="session")
def control(key: Key, parsed_configs: Path) -> Control:
    """All that is known of control, loaded once."""
    return load_control(key.flora, read=ParsedFiles(parsed_configs))


@pytest.fixture(scope="session")
def photos() -> Path:
    """The folder of openly licensed photos that lies beside the repository."""
    if not (PHOTOS / "manifest.csv").exists():
        pytest.skip("real photos are not beside this repository, so a model that names real plants wrongly goes unseen")
    return PHOTOS
