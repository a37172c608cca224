"""Steps that bring a database of any earlier release to the present schema."""
