"""A photo model measured on labelled photos, the page about it, and its card."""

from training.evaluate.measure import Measured, SpeciesFigures, measure_model

__all__ = ["Measured", "SpeciesFigures", "measure_model"]
