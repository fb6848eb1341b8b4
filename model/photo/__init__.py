"""The photo model: decode, views, features, closed-form head, calibrated evidence."""
