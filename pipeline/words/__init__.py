"""Results in words: numbers, codes and sentences."""
