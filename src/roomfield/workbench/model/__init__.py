"""Questions put to the joint posterior."""
