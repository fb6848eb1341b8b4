"""What commands and pages do alike: the user's folder, the key, the photo model, labels, the collection."""
