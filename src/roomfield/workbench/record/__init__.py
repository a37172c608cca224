"""What is in the record: surveys, places, meters, readings, files brought in, each kept the moment it is given."""
