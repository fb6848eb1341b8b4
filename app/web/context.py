"""What all visitors' pages share: the key, the advice and the limits, loaded once and never changed."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from threading import Event, Lock
from typing import TYPE_CHECKING, Any

from app.services.knowledge import load_advice, load_key
from app.web.draft import Draft, Drafts
from app.web.plant_pictures import PlantPicture, picture_of
from model.identify import Finding, Key
from model.interview import Interview
from model.prior import region_named

if TYPE_CHECKING:
    from app.figures.telling import Sketch
    from model.control import Control
    from model.spray import Rules


LONGEST_START = 180  # seconds; afterwards it is tried all the same


def _at_once() -> Event:
    ready = Event()
    ready.set()
    return ready


@dataclass
class Context:
    """Read-only knowledge; what a visitor enters is in a Draft, never here."""

    key: Key
    drafts: Drafts
    ready: Event = field(default_factory=_at_once, repr=False)
    _loading: Lock = field(default_factory=Lock, repr=False)

    def wait_until_ready(self) -> None:
        """Let the libraries come in first: two threads that import what imports each other end in a fault."""
        self.ready.wait(LONGEST_START)

    @cached_property
    def control(self) -> Control:
        """The advice, loaded at its first use."""
        with self._loading:
            return load_advice()

    @cached_property
    def lists(self) -> dict[str, list[tuple[str, str]]]:
        """What a person chooses from in forms, ids with their names: lawn grasses, varieties of buffalo, states."""
        lawns = self.control.lawns
        named: dict[str, Any] = {"lawns": lawns, "cultivars": lawns["buffalo"].cultivars, "states": self.control.states}
        return {what: [(key, one.name) for key, one in entries.items()] for what, entries in named.items()}

    @cached_property
    def rules(self) -> Rules:
        """The limits of spraying."""
        from model.spray import load_rules

        return load_rules()

    def name(self, species: str) -> str:
        """The common name of a species; its id where it is not in the flora."""
        plant = self.key.flora.species.get(species)
        return plant.common_name if plant is not None else species.replace("_", " ")

    def picture(self, species: str, sketch: Sketch | None = None) -> PlantPicture:
        """What shows a species on a page: a photo that the user has collected, else line drawings."""
        return picture_of(self.key, species, sketch)

    def interview(self, draft: Draft) -> Interview:
        """The interview that a draft describes."""
        from app.web.draft_photos import photo_evidence

        evidence = photo_evidence(draft, self.drafts.photos(draft.id))
        answers = {c: a for c, a in draft.answers.items() if c in self.key.flora.characters}
        region = region_named(self.key.prior_config, None)
        return Interview(self.key, evidence, draft.month, region, answers, draft.visible)

    def finding(self, draft: Draft) -> Finding:
        """What is known of a draft's plant."""
        return self.interview(draft).finding


def open_context() -> Context:
    """The context of this user."""
    return Context(load_key(), Drafts())
