"""Limits, guidelines, materials, technologies and cautions as versioned data with their sources."""
