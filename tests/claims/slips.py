"""One slip must never prove a name: every known slip, on plants that matter.

Run ``python -m tests.claims.slips`` to print what was tried. Each of the 22 plants of ``seasons`` is answered without
mistakes but one, given first: a state that it shows is taken for another, as people do (configs/observer.yaml).
At the end of the interview it must not be confirmed as another plant. Tried without ``visible``, and with leaves only.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from model.flora.character import Character
from model.identify import Key, identify
from model.traits import Answers, Visible, check_answer, out_of_sight
from tests.claims.observer import SimulatedObserver
from tests.claims.seasons import LEAVES, NAMED


@dataclass(frozen=True)
class Slip:
    """One wrong answer about one species: what it shows, and what was said; and how it ended."""

    species: str
    character: str
    shown: str
    said: str
    visible: Visible | None
    status: str
    named: str | None

    @property
    def proves_another(self) -> bool:
        """Whether another plant than the true one was confirmed."""
        return self.status == "confirmed" and self.named != self.species


def slips(key: Key, species: str, visible: Visible | None = None) -> Iterator[tuple[Character, str, str]]:
    """Each character that can be seen, a state that the species shows usually, and one that this is taken for."""
    observer = SimulatedObserver(key, visible=visible)
    row, hidden = key.index[species], out_of_sight(key.flora.characters, visible)
    for character, pairs in observer.observer.mistakes.items():
        table = observer.table(character)
        if character in hidden or not table.known[row] or not table.applicable[row]:
            continue
        usual = {str(s) for s, share in zip(table.answers, table.truth[row], strict=True) if share >= 0.25}
        for shown, said in pairs:
            if shown in usual and said not in usual:
                yield key.flora.characters[character], shown, said


def asked_after(key: Key, species: str, character: str, said: str, visible: Visible | None) -> tuple[str, str | None]:
    """Status and name at the end of an interview that begins with a slip and has no other fault."""
    observer = SimulatedObserver(key, 0.0, 0.0, visible)
    answers: Answers = {character: (said,)}
    while True:
        finding = identify(key, answers, visible=visible)
        question = finding.next_question
        if question is None:
            return finding.status, finding.species
        asked = question.character
        answers = {**answers, asked.id: check_answer(asked, observer.likeliest(species, asked))}


def try_all(key: Key, species: str, visible: Visible | None = None, every: int = 1) -> list[Slip]:
    """Every slip on one species, or each ``every``-th."""
    found = []
    for character, shown, said in list(slips(key, species, visible))[::every]:
        status, named = asked_after(key, species, character.id, said, visible)
        found.append(Slip(species, character.id, shown, said, visible, status, named))
    return found


def main() -> None:
    """Print what was tried and the outcome."""
    key = Key()
    for visible in (None, LEAVES):
        found = [slip for species in NAMED for slip in try_all(key, species, visible)]
        wrong = [slip for slip in found if slip.proves_another]
        right = sum(slip.named == slip.species for slip in found)
        likely = sum(slip.status == "likely" and slip.named != slip.species for slip in found)
        what = "leaves only" if visible else "visible parts not given"
        print(f"{what}: {len(found)} single slips on {len(NAMED)} plants; {right} still named correctly, ", end="")
        print(f"{likely} likely another, {len(wrong)} confirmed as another")
        for slip in wrong:
            print(f"  {slip.species} confirmed as {slip.named}: {slip.character} {slip.shown} taken for {slip.said}")


if __name__ == "__main__":
    main()
