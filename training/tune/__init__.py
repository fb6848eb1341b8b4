"""Fine-tune the network that looks at photos."""

from training.tune.lesson import Lesson, tune
from training.tune.net import TuningNet
from training.tune.plan import TunePlan
from training.tune.world import World, join_world
from training.tune_settings import Tune

__all__ = ["Lesson", "Tune", "TunePlan", "TuningNet", "World", "join_world", "tune"]
