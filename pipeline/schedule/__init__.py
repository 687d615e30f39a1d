"""Schedule: a night, a team and a wave for every store that has moves."""
