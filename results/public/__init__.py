"""What is public of each table and field, in which states, and how pages and API read by it."""
