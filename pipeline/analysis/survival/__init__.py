"""Time in place and reasons of removal: curves, tests and models."""
