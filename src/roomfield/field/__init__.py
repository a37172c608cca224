"""One model of the dwelling: propagation and joint inference."""
