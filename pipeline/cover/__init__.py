"""Where a station would help: labels, places and an exact choice among them; pure."""
