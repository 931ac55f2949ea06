"""Accounts: joining, signing in, renaming, closing, and what is erased of a person."""
