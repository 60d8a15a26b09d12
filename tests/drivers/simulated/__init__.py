"""The simulated engine."""
