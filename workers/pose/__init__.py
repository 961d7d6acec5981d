"""workers/pose."""
