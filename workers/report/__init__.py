"""workers/report."""
