"""What a level means against a limit or a guideline."""
