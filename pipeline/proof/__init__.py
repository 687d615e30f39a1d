"""Seal the register, so that an outsider can tell that nothing in it was changed afterwards."""
