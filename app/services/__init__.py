"""The use cases, as functions with values in and values out: the one layer that commands and pages call."""
