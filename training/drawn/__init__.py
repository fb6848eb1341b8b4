"""Plants drawn from their characters: every picture is made by our own code from a seed.

``draw`` paints one picture; ``plan_scene`` and ``plan_portrait`` give its plan, a frozen value that prints well.
"""

from training.drawn.portrait import draw_portrait, plan_portrait
from training.drawn.scene import PLAIN_LAWN, Scene, draw, draw_scene, plan_scene

__all__ = ["PLAIN_LAWN", "Scene", "draw", "draw_portrait", "draw_scene", "plan_portrait", "plan_scene"]
