"""Name a plant: from its photos and answers to a Finding, or to the interview that goes on from there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.services.knowledge import load_key
from model.errors import AnswerError, SwardkeyError
from model.interview import Interview
from model.prior import region_named
from model.traits import Answers, answers_text, check_answers, check_visible, read_answers

if TYPE_CHECKING:
    from app.present.naming import Naming
    from model.identify import Key


def start_interview(
    photos: Sequence[Path],
    answers: Path | Mapping[str, Any] | None = None,
    visible: str | None = None,
    month: int | None = None,
    region: str | None = None,
) -> Interview:
    """The interview on one plant, from its photos and answers (a file, or what would stand in one).

    ``visible`` overrides what the file says can be seen. Raises SwardkeyError naming what cannot be read.
    """
    key = load_key()
    given: Answers = {}
    seen = None
    if isinstance(answers, Path):
        given, seen = read_answers(answers, key.flora.characters)
    elif answers is not None:
        given = check_answers(key.flora.characters, answers)
    if visible is not None:
        seen = check_visible(visible)
    region = region_named(key.prior_config, region)
    evidence = None
    if photos:
        from app.services.photo_model import evidence_of  # only here: it loads the photo model's libraries

        evidence = evidence_of(photos)
    return Interview(key, evidence, month, region, given, seen)


def identify(
    photos: Sequence[Path], answers: Path | None, visible: str | None, month: int | None, region: str | None
) -> Interview:
    """As start_interview, for a plant of which something must be known. Raises SwardkeyError where nothing is."""
    if not photos and answers is None:
        raise SwardkeyError("nothing to go by: name a photo, or a file of answers with --answers")
    return start_interview(photos, answers, visible, month, region)


def see(interview: Interview, parts: Sequence[str]) -> Interview:
    """The interview with the parts that can be seen. Raises AnswerError for an unknown one, or for none."""
    return interview.see(check_visible(list(parts)))


def answer_file(interview: Interview) -> str:
    """The answers and what can be seen, as `--answers` reads them."""
    return answers_text(interview.answers, interview.visible)


def save_answers(interview: Interview, file: Path) -> None:
    """Write the answers so that `--answers` reads them again. Raises AnswerError where the file cannot be written."""
    try:
        file.write_text(answer_file(interview), encoding="utf-8")
    except OSError as error:
        raise AnswerError(f"{file}: cannot be written ({error.strerror}); name another file") from None


def named_for_paper(
    key: Key, species: tuple[str, ...], answers: Path | None, month: int | None
) -> tuple[Naming, tuple[str, ...]]:
    """How a weed is named without a visit, by name, by a file of answers or by both; and the species to plan for.

    Raises AnswerError where the answers put no plant in front, or another one than was named.
    """
    from app.present.finding import LEAST_NAMED
    from app.present.naming import Naming

    if answers is None:
        return Naming(species[0]), species
    given, visible = read_answers(answers, key.flora.characters)
    finding = Interview(key, None, month, region_named(key.prior_config, None), given, visible).finding
    naming = Naming.of(finding, given)
    if naming.status == "undecided" and finding.candidates[0].probability < LEAST_NAMED:
        raise AnswerError(f"{answers}: puts no plant in front yet; answer more, or name the weed without --answers")
    if naming.status == "unlisted":
        raise AnswerError(f"{answers}: no plant on file explains these answers; have a sample looked at first")
    if species and naming.species not in species:
        front = key.flora.species[naming.species].common_name
        raise AnswerError(f"{answers}: the answers put {front} in front, not what was named; look at the plant again")
    return naming, species or (naming.species, *naming.also)
