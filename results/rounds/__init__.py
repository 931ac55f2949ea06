"""Rounds: a club's comparisons on coded samples, from setting up to the report."""
