"""The workers: decode, pose, serve metrics, pictures, and the jobs that run them."""
