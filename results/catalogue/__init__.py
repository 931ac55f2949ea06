"""The catalogue: connections, lines and the names that moderators accept."""
