"""Long series: ingest, gaps, rolling averages, percentiles, day profile, events."""
