"""What a report is to say, taken from the results of the other calls."""
