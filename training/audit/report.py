"""What the check found: the plan first, then the particulars."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

from model.text import shown
from training.audit.label_next import ToLabel
from training.audit.labels import Suspect
from training.audit.next_photos import Gain
from training.audit.quality import Fault
from training.audit.shortage import Shortage
from training.data.duplicates import Cluster

Called = Callable[[str], str]
Why = Literal["two labels", "label", "copy", "quality"]
MOST_SHOWN = 20  # of any kind, in print; the sheet and the JSON have all


@dataclass(frozen=True)
class Question:
    """One photo that a person is asked about: keep, relabel or drop.

    ``likelier`` is another species that it may be, or "". ``score`` is the out-of-sample
    probability of the given label, 0-1, the lower the more doubtful, or None where unknown. ``file``: what the user's
    own file was called, "" where that is not known.
    """

    photo: str
    given: str
    likelier: str
    score: float | None
    why: Why
    words: str
    file: str = ""

    @property
    def title(self) -> str:
        """What a person calls the photo."""
        return in_own_names(self.photo, {self.photo: self.file} if self.file else {})


@dataclass(frozen=True)
class Report:
    """All findings of one check. Nothing has been changed by it.

    ``own``: out-of-sample probability of each judged photo's label, by name. ``slope``: the
    power by which error is taken to fall with photos, ``slope_read`` whether it was read from
    these photos. ``enough``: photos and groups that a species needs. ``files``: what the user's own files were called,
    by photo.
    """

    photos: int
    groups: int
    species: int
    enough: tuple[int, int]
    faults: tuple[Fault, ...]
    clusters: tuple[Cluster, ...]
    unchecked_pairs: int
    suspects: tuple[Suspect, ...]
    estimated_wrong: int
    judged: int
    unjudged: tuple[str, ...]
    shortages: tuple[Shortage, ...]
    gains: tuple[Gain, ...]
    take: int
    slope: float
    slope_read: bool
    to_label: tuple[ToLabel, ...]
    own: Mapping[str, float]
    labels: Mapping[str, str]
    files: Mapping[str, str] = field(default_factory=dict)

    @property
    def conflicts(self) -> tuple[Cluster, ...]:
        """Pictures that are there under several labels."""
        return tuple(c for c in self.clusters if c.is_conflict)

    def questions(self, called: Called = str) -> tuple[Question, ...]:
        """Each photo that a person is asked about, once, the gravest first; ``called`` turns a label into words."""
        asked: dict[str, Question] = {}
        for question in self._all_questions(called):
            first = asked.get(question.photo)
            if first is None:
                asked[question.photo] = question
            elif question.words not in first.words:
                likelier, words = first.likelier or question.likelier, f"{first.words}; {question.words}"
                asked[question.photo] = replace(first, likelier=likelier, words=words)
        return tuple(asked.values())

    def _all_questions(self, called: Called) -> Iterator[Question]:
        doubted = {s.photo: s.likelier for s in self.suspects}
        for cluster in self.conflicts:
            for photo in cluster.photos:
                given = self.labels[photo]
                others = [label for label in cluster.labels if label != given]
                likelier = doubted.get(photo, others[0] if len(others) == 1 else "")
                words = f"the same picture is there as {' and as '.join(map(called, others))}"
                yield self._question(photo, likelier, "two labels", words)
        for suspect in self.suspects:
            words = f"{times(suspect.odds)} as likely to be {called(suspect.likelier)}"
            yield self._question(suspect.photo, suspect.likelier, "label", words)
        for cluster in self.clusters:
            for photo in () if cluster.is_conflict else cluster.photos[1:]:
                words = "the same file as" if cluster.kind == "same file" else "nearly the same picture as"
                yield self._question(photo, "", "copy", f"{words} {cluster.photos[0]}")
        for fault in self.faults:
            yield self._question(fault.photo, "", "quality", f"{fault.kind}: {fault.words}")

    def _question(self, photo: str, likelier: str, why: Why, words: str) -> Question:
        words, file = in_own_names(words, self.files), self.files.get(photo, "")
        return Question(photo, self.labels[photo], likelier, self.own.get(photo), why, words, file)

    def title(self, photo: str) -> str:
        """What a person calls a photo."""
        return in_own_names(photo, self.files)

    def __str__(self) -> str:
        return self.text()

    def text(self, called: Called = str) -> str:
        """The report for a person. ``called`` turns a label into the words for it."""
        head = f"{self.photos} photos of {self.species} species from {self.groups} plants or visits were checked."
        parts = [[head], self._plan(called), *(p for p in self._particulars(called) if len(p) > 1)]
        return in_own_names("\n\n".join("\n".join(part) for part in parts), self.files)

    def _plan(self, called: Called) -> list[str]:
        copies = sum(len(c.photos) - 1 for c in self.clusters if not c.is_conflict)
        pictures, spoilt = count(len(self.conflicts), "picture"), count(len({f.photo for f in self.faults}), "photo")
        estimate = f"of {self.judged} checked, about {self.estimated_wrong} are, by estimate"
        steps = [
            (self.conflicts, f"Choose a name for {pictures} in the collection under two names."),
            (self.suspects, f"Check {count(len(self.suspects), 'label')} that may be wrong ({estimate})."),
            (copies, f"Decide on {count(copies, 'copy', 'copies')} of pictures already in the collection."),
            (self.faults, f"Retake or leave out {spoilt} that are hard to use."),
            (
                self.shortages,
                f"Add photos of {count(len(self.shortages), 'species', 'species')} with too few to learn from.",
            ),
            (self.gains, f"Then take photos of: {', '.join(called(g.species) for g in self.gains[:3])}."),
            (self.to_label, f"Label {count(len(self.to_label), 'photo')} that would teach the model most."),
        ]
        needed = [step for found, step in steps if found]
        numbered = [f"  {number}. {step}" for number, step in enumerate(needed, start=1)]
        return ["What to do, in this order:", *numbered] if needed else ["Nothing needs doing."]

    def _particulars(self, called: Called) -> Iterator[list[str]]:
        yield ["The same picture under two names:", *few(self._conflict_lines(called))]
        lines = [
            f"  {s.photo}: {called(s.given)}? {times(s.odds)} as likely {called(s.likelier)} (score {s.score:.3f})"
            for s in self.suspects
        ]
        yield ["Labels that may be wrong, the most doubtful first (score: chance of the given name):", *few(lines)]
        if self.unjudged:
            names = ", ".join(map(called, self.unjudged))
            yield ["Labels that cannot be judged yet, since no other plant or visit shows the species:", f"  {names}"]
        yield ["Copies:", *few([f"  {c.kind}: {', '.join(c.photos)}" for c in self.clusters if not c.is_conflict])]
        if self.unchecked_pairs:
            yield ["Not compared for parts cut out of photos:", f"  {self.unchecked_pairs} pairs that are less alike"]
        kinds = Counter(f.kind for f in self.faults)
        listed = ", ".join(f"{n} {kind}" for kind, n in kinds.items())
        lines = [f"  {f.photo}: {f.kind}: {f.words}" for f in self.faults]
        yield [f"Photos that are hard to use ({listed}):", *few(lines)]
        lines = [f"  {called(s.species)}: has {s.photos} of {s.groups}; add {s.missing}" for s in self.shortages]
        needs = f"{self.enough[0]} photos of {self.enough[1]} plants or visits"
        yield [f"Too few to learn from (needs {needs}):", *few(lines)]
        yield [
            f"Worth most: {self.take} more photos, each of another plant (fall of the error expected, in points):",
            *few([self._gain_line(g, called) for g in self.gains]),
        ]
        lines = [f"  {t.photo}: {called(t.torn[0])} or {called(t.torn[1])}" for t in self.to_label]
        yield ["Label these next, the most telling first:", *few(lines)]

    def _conflict_lines(self, called: Called) -> list[str]:
        return [
            "  " + ", ".join(f"{photo} ({called(self.labels[photo])})" for photo in cluster.photos)
            for cluster in self.conflicts
        ]

    @staticmethod
    def _gain_line(gain: Gain, called: Called) -> str:
        line = f"  {called(gain.species)}: {100 * gain.gain:.2f}; has {gain.photos} of {gain.groups}"
        if gain.error is not None:
            line += f", {gain.error:.0%} named wrongly"
        if gain.confused:
            line += f", mixed up with {' and '.join(map(called, gain.confused))}"
        return line + (f"; more like {gain.hard[0]}" if gain.hard else "")

    def as_json(self) -> dict[str, Any]:
        """Plain data, with every finding and every question."""
        found = {
            name: value for name, value in asdict(self).items() if name not in ("own", "labels", "enough", "files")
        }
        found["clusters"] = [{**asdict(c), "is_conflict": c.is_conflict} for c in self.clusters]
        found["enough"] = {"photos": self.enough[0], "groups": self.enough[1]}
        found["questions"] = [asdict(q) for q in self.questions()]
        return found


def in_own_names(text: str, names: Mapping[str, str]) -> str:
    """A text with photos of the collection called as the user's own files were, each with its first digits.

    >>> in_own_names("see 3e/" + "3e" * 32 + ".jpg", {"3e/" + "3e" * 32 + ".jpg": "IMG_7.jpg"})
    'see IMG_7.jpg (3e3e3e3e3e3e)'
    """

    def named(found: re.Match[str]) -> str:
        photo = found[0]
        return f"{shown(names[photo])} ({photo[3:15]})" if photo in names else photo

    return re.sub(r"\b[0-9a-f]{2}/[0-9a-f]{64}\.jpg", named, text)


def few(lines: Sequence[str], most: int = MOST_SHOWN) -> list[str]:
    """The first lines, and how many are left out."""
    left = len(lines) - most
    return [*lines[:most], f"  and {left} more; the sheet shows all"] if left > 0 else list(lines)


def count(number: int, one: str, many: str = "") -> str:
    """A number with its noun.

    >>> count(1, "photo"), count(2, "copy", "copies")
    ('1 photo', '2 copies')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def times(odds: float) -> str:
    """How many times, without false exactness.

    >>> times(3.4), times(41.0), times(5e8)
    ('3 times', '41 times', 'over 1000 times')
    """
    return "over 1000 times" if odds > 1000 else f"{odds:.0f} times"
