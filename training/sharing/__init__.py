"""Learning shared without photos: statistics of species as one file, joined beside one's own and taken out again."""
