"""The change register: proposals, decisions, results, and what became of each promise."""
