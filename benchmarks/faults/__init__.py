"""Seeded faults: kills in the middle of work, damaged files, hostile requests, full disks, many writers."""
