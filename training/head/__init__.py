"""The closed-form head: fitted, calibrated, with sets and novelty."""
