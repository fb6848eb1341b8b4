"""Results in words: what terminal, pages and papers say alike."""
