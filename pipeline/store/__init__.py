"""The DuckDB file: open, migrate, load, read-only sessions."""
