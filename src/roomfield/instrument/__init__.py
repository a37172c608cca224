"""What the meter's number is worth: a reading becomes an uncertain level."""
