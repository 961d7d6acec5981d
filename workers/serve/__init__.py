"""workers/serve."""
