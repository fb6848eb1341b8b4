"""How the photo model learns: manifest, features, split, spread, calibrate, novelty, measure."""
