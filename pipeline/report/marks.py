"""Draw a channel as a shape with its number, so that colour is never needed to read it."""

from functools import cache
from math import cos, pi, sin

from pipeline.report import style
from pipeline.report.fonts import Face
from pipeline.report.pen import Align, Pen, Type
from pipeline.report.style import Mark, Shape

NUMBER = Type(style.TINY, Face.STRONG)
RADIUS = 8.2  # points; a number of two digits at the smallest size fits inside every shape

# Corners, the angle of the first one in turns from the top, and the size that looks equal.
_CORNERS = {
    Shape.SQUARE: (4, 1 / 8, 1.18),
    Shape.TRIANGLE: (3, 0.0, 1.42),
    Shape.DIAMOND: (4, 0.0, 1.24),
    Shape.HEXAGON: (6, 1 / 12, 1.08),
    Shape.POINTED: (3, 1 / 2, 1.42),
    Shape.OCTAGON: (8, 1 / 16, 1.06),
    Shape.HOUSE: (5, 0.0, 1.16),
}
# A triangle's number stands where the triangle is wide.
_NUMBER_DROP = {Shape.TRIANGLE: 1.0, Shape.POINTED: -1.0}


def channel_mark(  # noqa: PLR0913 - where, what, and three ways to vary it
    pen: Pen,
    at: tuple[float, float],
    channel: int | None,
    *,
    radius: float = RADIUS,
    strong: bool = False,
    number: bool = True,
) -> None:
    """Draw the mark of a channel around a point; `strong` thickens its outline."""
    x, y = at
    mark = style.mark(channel)
    _outline(pen, at, mark, radius, 1.5 if strong else 0.7)
    if mark.ringed:
        _outline(pen, at, mark, radius - 1.8, 0.4)
    if number:
        text = str(channel) if channel is not None else "?"
        drop = _NUMBER_DROP.get(mark.shape, 0.0) * radius / RADIUS
        pen.text(x, y + NUMBER.size * 0.36 + drop, text, NUMBER, align=Align.CENTRE)


def _outline(
    pen: Pen, at: tuple[float, float], mark: Mark, radius: float, thickness: float
) -> None:
    x, y = at
    if mark.shape is Shape.CIRCLE:
        pen.circle((x, y), radius, mark.fill, style.INK, thickness)
        return
    points = [(x + radius * dx, y + radius * dy) for dx, dy in _points(mark.shape)]
    pen.polygon(points, mark.fill, style.INK, thickness)


@cache
def _points(shape: Shape) -> tuple[tuple[float, float], ...]:
    corners, first, size = _CORNERS[shape]
    turns = [first + i / corners for i in range(corners)]
    return tuple((size * sin(2 * pi * t), -size * cos(2 * pi * t)) for t in turns)
