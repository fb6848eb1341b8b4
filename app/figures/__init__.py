"""Figures for people who would rather look than read."""
