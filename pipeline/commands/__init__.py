"""The commands of `dwell`, one module each."""
