"""A night on a sound cable: level by second, for the whole and for each technology heard, from a meter's audio."""
