"""The flora: species, characters and sources from configs/, checked against one another."""

from model.flora.character import Character
from model.flora.load import CONFIGS, Flora, Reader, load_characters, load_flora
from model.flora.source import Source
from model.flora.species import LookAlike, Score, Species

__all__ = [
    "CONFIGS",
    "Character",
    "Flora",
    "LookAlike",
    "Reader",
    "Score",
    "Source",
    "Species",
    "load_characters",
    "load_flora",
]
