"""Carrying out one piece of queued work: claim, lease, run, store, commit."""
