"""Models as folders that never change."""
