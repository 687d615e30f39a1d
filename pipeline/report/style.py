"""One look for print and workbook: colours, type sizes, spacing, paper.

Colours carry no meaning alone: every one comes with a word, a number or a shape. Their lightness
differs, so that a greyscale print keeps the order.
"""

from dataclasses import dataclass
from enum import StrEnum

INK = "#1D2A32"
MUTED = "#55626B"  # 6:1 on white: small captions stay readable
HAIRLINE = "#C6CED3"
WASH = "#F3F1EB"  # behind figures and headings
PAPER = "#FFFFFF"
NOW = "#A9B4BB"  # the state of today
PLANNED = "#1F5F78"  # the state proposed
ALERT = "#A63D2F"  # what is wrong: shared channels, findings to settle
WIFI = "#D9C9A3"

# Busy share from free to full: one hue that only gets darker.
BUSY_STEPS = ("#FFFFFF", "#E3EBEE", "#C2D3DA", "#98B4C0", "#4E7B8F", "#2A5A70", "#123848")
BUSY_LIMITS = (0.05, 0.10, 0.20, 0.35, 0.50, 0.75)  # the last step is above the last limit
DARK_FROM = 4  # steps from this one on carry light text

TINY, SMALL, BODY, LEAD, TITLE, FIGURE = 7.0, 7.6, 8.6, 12.0, 19.0, 17.0  # points
SMALLEST = 7.0
MARGIN = 42.0  # points
GUTTER = 20.0

A4 = (595.276, 841.89)  # ISO 216, points
LETTER = (612.0, 792.0)  # ANSI/ASME Y14.1, points
# Countries that print on Letter (from memory: Unicode CLDR, paper size by territory).
LETTER_COUNTRIES = frozenset(
    ("US", "CA", "MX", "PR", "PH", "CL", "CO", "CR", "GT", "PA", "SV", "VE", "NI", "BZ", "DO")
)


class Shape(StrEnum):
    """The outlines by which channels are told apart without colour."""

    CIRCLE = "circle"
    SQUARE = "square"
    TRIANGLE = "triangle"
    DIAMOND = "diamond"
    HEXAGON = "hexagon"
    POINTED = "pointed"  # a triangle on its tip
    OCTAGON = "octagon"
    HOUSE = "house"  # a pentagon


@dataclass(frozen=True, slots=True)
class Mark:
    """How a channel is drawn; `ringed` adds a second outline where the shapes repeat."""

    shape: Shape
    fill: str
    ringed: bool


# The five channels most used come first with the shapes and tints furthest apart.
_ORDER = (15, 20, 25, 26, 11, 14, 16, 19, 21, 24, 12, 13, 17, 18, 22, 23)
_FILLS = ("#9CC8E3", "#F4DE8A", "#D9A0A8", "#FFFFFF", "#9FB58A", "#E8C9A0", "#C9C3DE", "#B8C2C6")
MARKS = {
    channel: Mark(tuple(Shape)[place % 8], _FILLS[place % 8], place >= len(_FILLS))
    for place, channel in enumerate(_ORDER)
}
NO_CHANNEL = Mark(Shape.SQUARE, PAPER, ringed=False)


def mark(channel: int | None) -> Mark:
    """Return how a channel is drawn; one outside 11..26 gets the plain square."""
    return NO_CHANNEL if channel is None else MARKS.get(channel, NO_CHANNEL)


def busy_step(share: float) -> int:
    """Return the step of the busy scale for a share 0..1."""
    return sum(share > limit for limit in BUSY_LIMITS)


def page_size(country: str | None) -> tuple[float, float]:
    """Return the paper (width, height) in points: Letter where it is the custom, else A4."""
    return LETTER if country in LETTER_COUNTRIES else A4
