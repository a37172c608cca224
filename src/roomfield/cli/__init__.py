"""The command-line door."""
