"""The match step: keys that exports write otherwise than the lists are taken for listed ones."""
