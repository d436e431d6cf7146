"""Narrative, tables and rendering of the reports."""
