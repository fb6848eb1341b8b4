"""What is believed beforehand: regions by name, months as a region has them, and how common a weed is."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from model.errors import FloraError, SwardkeyError
from model.flora import CONFIGS
from model.identify import Key
from model.prior import EVERYWHERE, PriorConfig, Region, load_prior, prior, region_named, season_month


@pytest.fixture
def config(key: Key) -> PriorConfig:
    """Two regions: one with seasons three months later, and dandelions three times as common."""
    regions = {"plain": Region(weights={}), "later": Region(weights={"taraxacum_officinale": 3.0}, shift=3)}
    return key.prior_config.model_copy(update={"regions": regions, "usual_region": "later"})


def test_a_region_is_the_usual_one_unless_another_or_none_is_named(config: PriorConfig) -> None:
    assert region_named(config, None) == "later"
    assert region_named(config, "plain") == "plain" and region_named(config, "later") == "later"
    assert EVERYWHERE == "none" and region_named(config, "none") is None


@pytest.mark.parametrize("name", ["", "plains", "None", "southern australia"])
def test_an_unknown_region_is_refused_with_what_may_be_named(config: PriorConfig, name: str) -> None:
    with pytest.raises(SwardkeyError) as error:
        region_named(config, name)
    message = str(error.value)
    assert message.startswith(f"region {name!r} is not in configs/prior.yaml; ") and "\n" not in message
    assert any(known in message for known in ("plain", "later", "none"))
    with pytest.raises(SwardkeyError, match="choose from: plain, later, none"):
        region_named(config, "zzz")


def test_a_usual_region_that_is_not_there_is_refused(config: PriorConfig) -> None:
    with pytest.raises(SwardkeyError, match=r"region 'nowhere' is not in configs/prior\.yaml"):
        region_named(config.model_copy(update={"usual_region": "nowhere"}), None)


def test_the_shipped_usual_region_is_southern_australia(key: Key) -> None:
    assert region_named(key.prior_config, None) == "southern_australia"
    assert region_named(key.prior_config, "none") is None


@pytest.mark.parametrize(
    ("field", "value"),
    [("looks", 0), ("looks", 1.5), ("looks", "many"), ("looks", None), ("alike", 1), ("relatives", 0)],
)
def test_a_broken_prior_file_is_named_with_the_field(tmp_path: Path, field: str, value: Any) -> None:
    path = tmp_path / "prior.yaml"
    shutil.copy(CONFIGS / "prior.yaml", path)
    assert load_prior(tmp_path).looks >= 1
    path.write_text(yaml.safe_dump({**yaml.safe_load(path.read_text(encoding="utf-8")), field: value}), "utf-8")
    with pytest.raises(FloraError) as error:
        load_prior(tmp_path)
    assert str(error.value).startswith(f"{path}: {field}: ") and "\n" not in str(error.value)


def test_months_go_round_the_year(config: PriorConfig) -> None:
    assert [season_month(config, month, "later") for month in (1, 3, 4, 12)] == [10, 12, 1, 9]
    assert [season_month(config, month, "plain") for month in (1, 12)] == [1, 12]
    assert [season_month(config, month, None) for month in (1, 12)] == [1, 12]
    assert season_month(config, None, "later") is None and season_month(config, None, None) is None


def test_without_a_region_all_listed_plants_count_alike(key: Key, config: PriorConfig) -> None:
    p = prior(key.flora, config)
    assert p[-1] == config.unlisted and p[:-1] == pytest.approx(
        np.full(len(key.flora.ids), (1 - config.unlisted) / len(key.flora.ids))
    )


@pytest.mark.parametrize(
    ("month", "region"), [(None, "plain"), (None, "later"), (7, None), (2, "later"), (12, "plain")]
)
def test_it_is_the_product_of_common_local_and_in_season(
    key: Key, config: PriorConfig, month: Any, region: Any
) -> None:
    p = prior(key.flora, config, month, region)
    local = (month - 4) % 12 + 1 if region == "later" and month else month
    weights = []
    for plant in key.flora.species.values():
        weight = 1.0 if region is None else config.in_lawns[plant.in_lawns]
        weight *= 3.0 if region == "later" and plant.id == "taraxacum_officinale" else 1.0
        weights.append(weight if local is None or local in plant.season.seen else weight * config.out_of_season)
    assert p[:-1] == pytest.approx(np.array(weights) / sum(weights) * (1 - config.unlisted))
    assert p.sum() == pytest.approx(1.0)
