"""Runs that try to break a whole service: parts killed while it works, and damaged films."""
