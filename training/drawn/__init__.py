"""Plants drawn from their characters: every picture is made by our own code from a seed.

``draw`` paints one picture; ``plan_scene`` gives its plan, a frozen value that prints well.
"""

from training.drawn.picture import draw, draw_scene
from training.drawn.portrait import draw_portrait, plan_portrait
from training.drawn.scene import PLAIN_LAWN, Scene, plan_scene

__all__ = ["PLAIN_LAWN", "Scene", "draw", "draw_portrait", "draw_scene", "plan_portrait", "plan_scene"]
