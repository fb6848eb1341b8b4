"""The invented town."""
