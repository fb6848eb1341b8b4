"""A photo model measured on a folder of photos, and the page about it."""

from training.evaluate.measured import Measured, SpeciesFigures, measure_model

__all__ = ["Measured", "SpeciesFigures", "measure_model"]
