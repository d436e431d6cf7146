"""Groups side by side: case mix, funnels, shrinkage."""
