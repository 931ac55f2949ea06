"""Pages of clubs' rounds."""
