"""Following: feeds of what is new, and what is mailed of it."""
