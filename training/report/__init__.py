"""A photo model measured on a folder of photos, and the page about it."""

from training.report.measured import Measured, SpeciesFigures, measure_model

__all__ = ["Measured", "SpeciesFigures", "measure_model"]
