"""Pose networks with their provenance, and the open contract of results."""
