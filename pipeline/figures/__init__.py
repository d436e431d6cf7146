"""plotnine figures drawn from analysis results."""
