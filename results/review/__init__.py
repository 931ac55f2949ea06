"""What moderators look at and decide."""
