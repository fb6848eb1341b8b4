"""The photo model: decode, views, features, closed-form head, calibrated evidence."""

from model.photo.decode import Photo, open_photo
from model.photo.evidence import Calibration, Classifier, Evidence
from model.photo.extract import Extractor
from model.photo.head import Discriminant, Statistics, fit_statistics
from model.photo.model import PhotoModel, load_model

__all__ = [
    "Calibration",
    "Classifier",
    "Discriminant",
    "Evidence",
    "Extractor",
    "Photo",
    "PhotoModel",
    "Statistics",
    "fit_statistics",
    "load_model",
    "open_photo",
]
