"""The command `dwell`: one module a command."""
