"""The rows: what is promised, tried a thousand times."""
