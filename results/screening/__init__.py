"""Which sets can't be right and wait for a person."""
