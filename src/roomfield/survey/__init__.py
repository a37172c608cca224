"""The record of a survey as plain typed values: no I/O, no physics."""
