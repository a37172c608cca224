"""Figures as SVG strings: they draw prepared values and compute nothing."""
