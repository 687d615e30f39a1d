"""quietaisle: channel plans for the base stations behind a chain's shelf labels."""

__version__ = "0.1.0"
