"""A coach for the hand scan: how far the highest value heard lies under the largest there is, and what helps next."""
