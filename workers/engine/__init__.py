"""The metrics engine: joints in, measured repetitions out. Pure."""
