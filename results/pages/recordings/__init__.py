"""Recordings of a load cell: shown, named pull by pull, and sent as a session."""
