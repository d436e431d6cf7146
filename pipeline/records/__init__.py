"""What a record is, and how it gets in."""
