"""The collection of the user's own labelled photos, and all ways into it."""

from training.collection.adding import Outcome, Row
from training.collection.confirmed import add_confirmed
from training.collection.intake import Intake
from training.collection.names import Names
from training.collection.offer import Offered, Origin, Refusal
from training.collection.own import OwnSpecies
from training.collection.plan import plan_intake
from training.collection.source import Wishes, open_source
from training.collection.store import Collection

__all__ = [
    "Collection",
    "Intake",
    "Names",
    "Offered",
    "Origin",
    "Outcome",
    "OwnSpecies",
    "Refusal",
    "Row",
    "Wishes",
    "add_confirmed",
    "open_source",
    "plan_intake",
]
