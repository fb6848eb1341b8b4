"""An interview about one plant: answers so far, one question at a time, back and change."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from model.identify import Finding, Key, Observation, PhotoEvidence, identify
from model.traits import Answers, Visible, check_answers, in_sight, out_of_sight
from model.traits.question import Question


@dataclass(frozen=True)
class Interview:
    """The state of an interview; every step returns a new one, so going back is exact.

    Fields as in Observation. ``answers`` keep the order in which they were given, even where one is changed; ``()``
    stands for unsure.
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
    def posterior(self) -> NDArray[np.float64]:
        """P(hypothesis), float (species + 1,), last is unlisted."""
        return self.key.posterior(Observation(self.answers, self.photos, self.month, self.region, self.visible))

    @property
    def question(self) -> Question | None:
        """What to ask next; None when the name is proven or nothing is worth asking."""
        return self.finding.next_question

    def answer(self, character: str, given: object) -> Interview:
        """With one answer given, or changed. Raises AnswerError naming the nearest valid one."""
        checked = check_answers(self.key.flora.characters, {character: given})
        return replace(self, answers={**self.answers, **checked})

    def see(self, visible: Visible | None) -> Interview:
        """With what can be seen given, or changed; answers on parts that cannot be seen are set aside, not lost."""
        return replace(self, visible=visible)

    def forget(self, character: str) -> Interview:
        """Without the answer to one question, which may then be asked again."""
        return replace(self, answers={c: a for c, a in self.answers.items() if c != character})

    def back(self) -> Interview:
        """Without the latest answer that counts, if there is one. What is set aside stays."""
        counted = list(in_sight(self.answers, out_of_sight(self.key.flora.characters, self.visible)))
        return self.forget(counted[-1]) if counted else self
