"""From a meter's audio to the transmitters behind it."""
