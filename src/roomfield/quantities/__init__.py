"""Conversions between the units of the trade, decibel arithmetic and uncertain levels."""
