"""roomfield: from hand-meter readings in a home to a report that stands up."""

__version__ = "0.1.0"
