"""The invented network: its scenario and the generator of its records."""
