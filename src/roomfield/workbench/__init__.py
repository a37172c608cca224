"""The job as calls: the one layer behind every door."""
