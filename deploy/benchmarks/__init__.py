"""Benchmarks and validation: nothing of this is in the image."""
