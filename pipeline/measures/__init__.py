"""The measure catalogue read from sql/measures, and series from the store."""
