"""Labelled photos: lists, features, parts."""
