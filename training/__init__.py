"""How the photo model learns: manifest, features, split, fit, calibrate, measure."""
