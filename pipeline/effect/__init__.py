"""Effect: does it help? Changed stores against those whose turn is still to come; a verdict."""
