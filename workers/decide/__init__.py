"""workers/decide."""
