"""Pages of one's account."""
