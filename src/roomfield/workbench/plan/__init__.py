"""What could be done, what it would bring, and which plan is agreed."""
