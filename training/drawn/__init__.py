"""Plants drawn by us, so that demo photos are ours."""
