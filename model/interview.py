"""One plant being asked about: answers so far, one question at a time, back and change."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from model.errors import AnswerError, nearest
from model.identify import Finding, Key, PhotoEvidence, identify
from model.traits import Answers, Visible, check_answer, in_sight, out_of_sight
from model.traits.question import Question


@dataclass(frozen=True)
class Interview:
    """The state of an interview; every step returns a new one, so going back is exact.

    ``answers`` keep the order in which they were given, also where one is changed; ``()`` stands for unsure.
    ``visible`` are the parts that can be seen or reached, None while nobody has told.
    """

    key: Key
    photos: PhotoEvidence | None = None
    month: int | None = None
    region: str | None = None
    answers: Answers = field(default_factory=dict)
    visible: Visible | None = None

    @property
    def finding(self) -> Finding:
        """What is known now."""
        return identify(self.key, self.answers, self.photos, self.month, self.region, self.visible)

    @property
    def question(self) -> Question | None:
        """What to ask next; None when the name is proven or nothing worth asking is left."""
        return self.finding.next_question

    def answer(self, character: str, given: object) -> Interview:
        """With one answer given, or changed. Raises AnswerError naming the nearest valid one."""
        characters = self.key.flora.characters
        if character not in characters:
            raise AnswerError(f"{character!r} is no character of the key; {nearest(character, characters)}")
        value = check_answer(characters[character], given)
        return replace(self, answers={**self.answers, character: value})

    def see(self, visible: Visible | None) -> Interview:
        """With what can be seen told, or changed; answers on parts that are not there are set aside, not lost."""
        return replace(self, visible=visible)

    def forget(self, character: str) -> Interview:
        """Without the answer to one question, which may then be asked again."""
        return replace(self, answers={c: a for c, a in self.answers.items() if c != character})

    def back(self) -> Interview:
        """Without the latest answer that counts; the same interview when there is none. What is set aside stays."""
        counted = list(in_sight(self.answers, out_of_sight(self.key.flora.characters, self.visible)))
        return self.forget(counted[-1]) if counted else self
