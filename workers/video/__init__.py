"""workers/video."""
