"""Rendered serves with exact ground truth (development only; see README.md in this folder)."""
