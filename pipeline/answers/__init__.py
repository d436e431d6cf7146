"""What the store is asked: each question answered in one place."""
