"""Errors a person can act on: one class per cause, each builds its own sentence."""

from collections.abc import Sequence
from difflib import get_close_matches


class QuietaisleError(Exception):
    """Base of every error that ends a command with one sentence."""


def nearest(word: str, known: Sequence[str]) -> str:
    """Return ` Did you mean 'x'?` for the closest known word, or an empty text."""
    close = get_close_matches(word, known, n=1, cutoff=0.5)
    return f" Did you mean '{close[0]}'?" if close else ""
