"""service/core."""
