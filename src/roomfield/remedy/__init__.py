"""What to do, what it would achieve, and whether it worked."""
