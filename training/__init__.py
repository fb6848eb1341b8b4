"""How the photo model learns: manifest, features, split, shrink, calibrate, novelty, measure."""
