"""Before against after a logged change."""
