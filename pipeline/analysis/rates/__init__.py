"""Rates and proportions, their limits and tail areas."""
