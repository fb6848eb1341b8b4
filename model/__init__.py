"""What is computed: the flora, the photo model, the key and the identification."""
