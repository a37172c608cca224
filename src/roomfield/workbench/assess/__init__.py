"""What the readings of a visit mean: levels, law, guideline, radio states."""
