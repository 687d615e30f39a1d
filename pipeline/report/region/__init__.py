"""The review of one region."""
