"""What checks and releases the project: nothing of this is in the image."""
