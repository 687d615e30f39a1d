"""Checks of arguments: each returns the value or raises a ValueError that names it."""

from math import inf, isfinite, isnan


def finite(name: str, value: float) -> float:
    """Return a value that is a number and not infinite."""
    if not isfinite(value):
        raise ValueError(f"{name} must be a finite number; got {value!r}")
    return value


def number(name: str, value: float) -> float:
    """Return a value that is a number, infinities included."""
    if isnan(value):
        raise ValueError(f"{name} must be a number; got {value!r}")
    return value


def positive(name: str, value: float) -> float:
    """Return a finite value above 0."""
    if not 0 < value < inf:
        raise ValueError(f"{name} must be above 0 and finite; got {value!r}")
    return value


def not_negative(name: str, value: float) -> float:
    """Return a finite value of 0 or more."""
    if not 0 <= value < inf:
        raise ValueError(f"{name} must be 0 or more and finite; got {value!r}")
    return value


def whole(name: str, value: int, allowed: range) -> int:
    """Return a whole number that the range holds."""
    if value not in allowed:
        raise ValueError(
            f"{name} must be a whole number from {allowed[0]} to {allowed[-1]}; got {value!r}"
        )
    return value
