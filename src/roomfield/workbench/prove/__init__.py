"""Whether the work did what was promised."""
