"""service/api."""
