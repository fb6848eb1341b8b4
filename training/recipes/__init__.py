"""Recipes: the shipped model, and a model of one's own."""
