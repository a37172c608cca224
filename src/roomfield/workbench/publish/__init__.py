"""Findings handed over: reports, tables, plain values."""
