"""Rates of slips fitted to confirmed plants: they come out where they were put in, and never from too few."""

from __future__ import annotations

import numpy as np
import pytest

from model.identify import Key
from model.traits import Likelihoods, check_answer
from model.traits.likelihood import mistakes
from model.traits.refit import LEAST_PLANTS, MOST_SHARE, FitError, fit_mistakes, with_rates

EDGE, DANDELION, CAPEWEED = "flower_build", "taraxacum_officinale", "arctotheca_calendula"


def plants(count: int, wrong: int) -> list:
    """Dandelions, so many of them answered as daisies."""
    return [(DANDELION, {EDGE: ("daisy",) if i < wrong else ("dandelion",)}) for i in range(count)]


def rate(found: tuple, shown: str, named: str) -> float:
    return next(r.after for r in found if (r.character, r.shown, r.named) == (EDGE, shown, named))


def test_nothing_is_learned_from_fewer_than_thirty_plants(key: Key) -> None:
    with pytest.raises(FitError, match=f"29 confirmed plants .* {LEAST_PLANTS} are needed"):
        fit_mistakes(key.likelihoods, plants(29, 3))
    assert fit_mistakes(key.likelihoods, plants(30, 3))
    unknown = [("no_such_plant", {EDGE: ("daisy",)})] * 40 + [(DANDELION, {})] * 40
    with pytest.raises(FitError, match="0 confirmed plants"):
        fit_mistakes(key.likelihoods, unknown)


def test_who_errs_more_is_believed_less_and_who_errs_less_more(key: Key) -> None:
    start = rate(fit_mistakes(key.likelihoods, plants(30, 3)), "daisy", "dandelion")
    before = dict(key.likelihoods.observer.mistakes[EDGE])["dandelion", "daisy"]
    often, never = (rate(fit_mistakes(key.likelihoods, plants(400, n)), "dandelion", "daisy") for n in (120, 0))
    assert often == pytest.approx(0.3, abs=0.02) and never < before / 3
    assert start == pytest.approx(dict(key.likelihoods.observer.mistakes[EDGE])["daisy", "dandelion"], abs=0.01), (
        "dandelions say nothing of daisies"
    )
    # Few plants hardly move what was believed.
    assert abs(rate(fit_mistakes(key.likelihoods, plants(30, 3)), "dandelion", "daisy") - before) < 0.05


def test_no_rate_leaves_its_bounds_and_the_fitted_observer_makes_sound_tables(key: Key) -> None:
    found = fit_mistakes(key.likelihoods, plants(900, 800))
    assert rate(found, "dandelion", "daisy") == MOST_SHARE
    observer = with_rates(key.likelihoods.observer, found)
    assert observer.mistakes[EDGE]["dandelion", "daisy"] == pytest.approx(MOST_SHARE, abs=0.12)
    for character in key.flora.characters.values():
        table = key.likelihoods.tables[character.id]
        errs = mistakes(character, table.answers, observer)
        assert errs.sum(axis=1) == pytest.approx(1.0) and (np.diag(errs) > 0.4).all()
    fitted = Likelihoods(key.flora, observer).tables[EDGE].likelihood(("daisy",))
    shipped = key.likelihoods.tables[EDGE].likelihood(("daisy",))
    row = key.index[DANDELION]
    assert fitted[row] > 3 * shipped[row], "an answer of daisy now hardly speaks against a dandelion"


def test_a_species_that_varies_is_counted_by_what_it_probably_showed(key: Key) -> None:
    """Rates are found again that answers were drawn with, from species of which some vary."""
    random = np.random.default_rng(4)
    character = key.flora.characters["leaf_edge"]
    table = key.likelihoods.tables["leaf_edge"]
    errs = mistakes(character, table.answers, key.likelihoods.observer)
    one, two = table.answers.index("smooth"), table.answers.index("wavy")
    errs[one] = 0.0
    errs[one, one], errs[one, two] = 0.75, 0.25
    drawn = []
    for _ in range(6000):
        row = int(random.integers(len(key.flora.ids)))
        if table.known[row]:
            shown = random.choice(len(errs), p=table.truth[row])
            said = table.answers[random.choice(len(errs), p=errs[shown])]
            drawn.append((key.flora.ids[row], {"leaf_edge": check_answer(character, said)}))
    found = fit_mistakes(key.likelihoods, drawn)
    fitted = {(r.shown, r.named): r.after for r in found if r.character == "leaf_edge"}
    assert fitted["smooth", "wavy"] == pytest.approx(0.25, abs=0.04)
    assert fitted["toothed", "lobed"] == pytest.approx(
        errs[table.answers.index("toothed"), table.answers.index("lobed")], abs=0.03
    )
