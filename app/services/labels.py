"""Labels that the user has read, which name a lawn grass that our facts say nothing of.

They are kept in the user's folder, are never part of the tool, and are taken back at any time.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import yaml
from pydantic import BaseModel, ConfigDict

from app.present.finding import day_text
from app.services.choices import lawn_of
from app.services.home import labels_file
from model.control import Control, LabelRead
from model.errors import AnswerError, nearest
from model.flora.load import read_as
from model.storage import replace_file


class Labels(BaseModel):
    """The file of labels."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    labels: tuple[LabelRead, ...] = ()


def labels_read(file: Path | None = None) -> tuple[LabelRead, ...]:
    """The labels that the user has read, in the order in which they were noted. Raises FloraError for a bad file."""
    path = file or labels_file()
    return read_as(path, Labels).labels if path.exists() else ()


def note_label(control: Control, actives: Sequence[str], lawn: str, number: str, by: str, on: date) -> LabelRead:
    """Keep that a label was read, in place of an earlier reading for the same actives and lawn.

    Raises AnswerError where something is not known, or where the grass is known to be injured: then no reading helps.
    """
    from app.records.days import latest_today  # only here: whoever only asks for labels loads no records

    named = tuple(dict.fromkeys(_active(control, name) for name in actives))
    if not named:
        raise AnswerError("no active was named; give those on the label, such as MCPA + dicamba")
    for name in named:
        if control.actives[name].registration.status == "cancelled":
            raise AnswerError(f"{name} is cancelled in Australia. {control.actives[name].registration.text}")
    lawn = lawn_of(control, lawn)[0] or lawn
    if lawn not in control.lawns or lawn == "unknown":
        known = [name for name in control.lawns if name != "unknown"]
        raise AnswerError(f"--lawn {lawn}: no such lawn grass is known; {nearest(lawn, known)}")
    if not number.strip() or not by.strip():
        raise AnswerError("give the product's registration number off the label (--number), and who read it (--by)")
    if on > latest_today():
        raise AnswerError(f"the label cannot have been read on {day_text(on)}, which is in the future; give the day")
    grass = control.lawns[lawn].name
    ratings = {name: control.rating(name, lawn) for name in named}
    for name, rating in ratings.items():
        if rating is not None and rating.rating == "injures":
            raise AnswerError(f"{name} is known to injure {grass}; a label read does not change that here")
        if control.actives[name].use == "non_selective":
            raise AnswerError(f"{name} kills any lawn; a label read does not change that here")
    if all(control.settled(name, lawn) for name in named):
        raise AnswerError(f"how {grass} tolerates {' + '.join(named)} is known already; there is nothing to unlock")
    new = LabelRead(named, lawn, number.strip(), by.strip(), on)
    others = [old for old in labels_read() if (set(old.actives), old.lawn) != (set(named), lawn)]
    _keep([*others, new])
    return new


def revoke_label(control: Control, actives: Sequence[str], lawn: str) -> int:
    """Take back every reading of these actives on a lawn, and say how many there were."""
    lawn = lawn_of(control, lawn)[0] or lawn
    named = {_active(control, name) for name in actives}
    kept = labels_read()
    left = [old for old in kept if not (old.lawn == lawn and named & set(old.actives))]
    if len(left) < len(kept):
        _keep(left)
    return len(kept) - len(left)


def split_actives(text: str) -> list[str]:
    """Actives as people write a mix.

    >>> split_actives("bromoxynil + MCPA"), split_actives("2,4-D")
    (['bromoxynil', 'MCPA'], ['2,4-D'])
    """
    return [part.strip() for part in text.split("+") if part.strip()]


def _active(control: Control, name: str) -> str:
    found = control.active_named(name)
    if found is None:
        raise AnswerError(f"{name!r} is not a known active; {nearest(name, control.actives)}")
    return found


def _keep(labels: Sequence[LabelRead]) -> None:
    path = labels_file()
    path.parent.mkdir(parents=True, exist_ok=True)
    plain = {"labels": [one.as_json() for one in labels]}
    replace_file(path, yaml.safe_dump(plain, sort_keys=False, allow_unicode=True).encode())
