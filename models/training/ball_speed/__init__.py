"""Ball speed just after contact on rendered serves whose ball leaves with a known speed."""
