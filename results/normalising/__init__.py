"""From the pulls of a session to the efficiency of each set against its own baseline."""
