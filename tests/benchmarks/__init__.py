"""How fast, how small: figures for the README, reprinted by ``python -m tests.benchmarks.speed``."""
