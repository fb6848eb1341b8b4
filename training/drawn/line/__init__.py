"""Line drawings beside the questions: one for every state of every choice, a ruler for every number.

Each is a file in configs/figures, or is computed here. ``draw_state``, ``draw_ruler``, ``draw_visible`` and
``text_alternative`` are the ways in;
``python -m training.drawn.line.sheet OUT.html`` writes a sheet of them all.
"""

from training.drawn.line.states import draw_ruler, draw_state, draw_visible, text_alternative

__all__ = ["draw_ruler", "draw_state", "draw_visible", "text_alternative"]
