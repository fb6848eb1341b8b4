"""Fixtures that all tests share: one seed, one key, and where the photos lie."""

from __future__ import annotations

import random
import signal
from pathlib import Path

import numpy as np
import pytest

from app.key import ParsedFiles
from model.control import Control, load_control
from model.identify import Key

# A shell that starts the tests in the background has them ignore Ctrl-C, which some tests send.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

PHOTOS = Path(__file__).resolve().parents[2] / "shared" / "photos"


@pytest.fixture(autouse=True)
def _one_seed() -> None:
    random.seed(20261125)
    np.random.seed(20261125)


@pytest.fixture(scope="session")
def parsed_configs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a first start parses of configs/ and keeps: seconds that each command of a test need not spend again."""
    files = ParsedFiles(tmp_path_factory.mktemp("parsed") / "configs.json")
    load_control(Key(read=files).flora, read=files)
    files.keep()
    return files.kept


@pytest.fixture(autouse=True)
def _home_of_the_test(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, parsed_configs: Path) -> None:
    monkeypatch.setenv("SWARDKEY_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("SWARDKEY_CACHE", str(parsed_configs.parent))


@pytest.fixture(scope="session")
def key() -> Key:
    """The key over the whole flora, loaded once."""
    return Key()


@pytest.fixture(scope="session")
def control(key: Key) -> Control:
    """All that is known of control, loaded once."""
    return load_control(key.flora)


@pytest.fixture(scope="session")
def photos() -> Path:
    """The folder of openly licensed photos that lies beside the repository."""
    if not (PHOTOS / "manifest.csv").exists():
        pytest.skip("real photos are not beside this repository, so a model that names real plants wrongly goes unseen")
    return PHOTOS
