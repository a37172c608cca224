"""What no reading of a log can be."""

from __future__ import annotations

from datetime import UTC, datetime

from roomfield.logs.clock import micros_of

FIRST_YEAR, LAST_YEAR = 1970, 2100
FIRST_US = micros_of(datetime(FIRST_YEAR - 1, 12, 31, tzinfo=UTC))
LAST_US = micros_of(datetime(LAST_YEAR, 1, 1, tzinfo=UTC))
"""A stamp outside was misread or mistyped; a day before 1970 for clocks east of Greenwich [µs]."""
LARGEST_NUMBER = 1e15
"""No meter shows more in any unit of the trade; our judgement, no source."""
