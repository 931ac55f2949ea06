"""The open data package: its tables, how they are written, and its words."""
