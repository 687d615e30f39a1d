"""The audit: what was agreed, what is found, and who approved the difference."""
