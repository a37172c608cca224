"""Practising in an invented home: a scan with the pointer, the order of switching, the plan."""
