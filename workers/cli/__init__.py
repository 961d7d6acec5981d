"""workers/cli."""
