"""An invented home with known truth."""
