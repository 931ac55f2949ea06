"""Pages for people, without JavaScript."""
