"""What readers and processes may keep of an answer, and until when."""
