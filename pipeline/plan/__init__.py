"""Plan: the best assignment of channels from evidence, its proof, and the order of moves."""
