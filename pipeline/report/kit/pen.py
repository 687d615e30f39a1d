"""Draw on a PDF page: text that fits, lines, boxes, channel marks.

Lengths are points, counted from the top left corner.
"""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache, lru_cache
from math import cos, pi, sin

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.rl_accel import fp_str
from reportlab.pdfgen.canvas import Canvas

from pipeline.report.kit import eastern, style
from pipeline.report.kit.style import Face, Mark, Shape
from pipeline.report.kit.tags import Role, Tags

Point = tuple[float, float]  # from the left, from the top

ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
LEADING = 1.28
_NARROWEST = 0.15  # the narrowest letter, as a share of its size
HEADING_H = 20.0  # of a section heading


class Align(StrEnum):
    """Which part of a text is at its point."""

    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Type:
    """How a text is set."""

    size: float = style.BODY
    face: Face = Face.TEXT
    colour: str = style.INK

    @property
    def leading(self) -> float:
        """The distance between base lines, in points."""
        return self.size * LEADING

    def width(self, text: str) -> float:
        """Return the printed width of a text in points."""
        return style.text_width(text, self.face, self.size)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the page: left, top, width, height."""

    x: float
    y: float
    w: float
    h: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.x + self.w

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.y + self.h

    def split(self, count: int, gutter: float = style.GUTTER) -> tuple["Box", ...]:
        """Return `count` boxes of equal width side by side."""
        each = (self.w - gutter * (count - 1)) / count
        return tuple(replace(self, x=self.x + i * (each + gutter), w=each) for i in range(count))

    def below(self, y: float) -> "Box":
        """Return the part of the box below `y`."""
        return replace(self, y=y, h=self.bottom - y)


BODY = Type()
SMALL = Type(style.SMALL)
SMALL_MUTED = Type(style.SMALL, colour=style.MUTED)
TINY = Type(style.TINY)
TINY_MUTED = Type(style.TINY, colour=style.MUTED)
STRONG = Type(style.BODY, Face.STRONG)
SMALL_STRONG = Type(style.SMALL, Face.STRONG)
TINY_STRONG = Type(style.TINY, Face.STRONG)
HEADING = Type(10.2, Face.STRONG, style.PLANNED)
NAME = Type(style.TITLE, Face.STRONG)
LEAD = Type(style.LEAD)
FIGURE = Type(style.FIGURE, Face.LIGHT, style.PLANNED)


class Pen:
    """A canvas seen from the top left corner; every page gets a new pen."""

    def __init__(self, canvas: Canvas, size: tuple[float, float], tags: Tags) -> None:
        self.canvas = canvas
        self.tags = tags
        self.width, self.height = size
        # What the page is set to; repeating it makes files larger and drawing slower.
        self._fill = self._stroke = ""
        self._thickness = -1.0
        self._shown: dict[tuple[str, str, float], str] = {}  # the operators of texts seen before

    def part(self, role: Role) -> AbstractContextManager[None]:
        """Take what is drawn as one part of the page, such as a cell."""
        return self.tags.part(role)

    def picture(self, box: Box, says: str) -> AbstractContextManager[None]:
        """Take what is drawn in a box as a picture that shows what `says` tells in words."""
        place = (box.x, self.height - box.bottom, box.right, self.height - box.y)
        return self.tags.part(Role.PICTURE, says, place)

    def text(  # noqa: PLR0913 - where, what, how, and two ways to fit it in
        self,
        x: float,
        y: float,
        text: str,
        kind: Type = BODY,
        *,
        align: Align = Align.LEFT,
        width: float | None = None,
    ) -> None:
        """Set one line on the base line `y`, cut with an ellipsis to `width` if given."""
        line = text if width is None else fitted(text, kind, width)
        if align is not Align.LEFT:
            length = kind.width(line)
            x -= length if align is Align.RIGHT else length / 2
        if self.tags.holding:
            with self.part(Role.TEXT):
                self._run(x, y, line, kind)
        else:
            self._run(x, y, line, kind)

    def _run(self, x: float, y: float, line: str, kind: Type) -> None:
        self.tags.mark()
        self._paint(kind.colour, None, 0)
        runs = style.runs(line, kind.face)
        for run in runs:
            # What `drawString` writes, in a third of the time.
            key = (run.text, run.font, kind.size)
            if (shown := self._shown.get(key)) is None:
                shown = self._shown[key] = style.shown(run, kind.size, self.canvas)
            at = fp_str(x, self.height - y)
            self.canvas.addLiteral(f"BT 1 0 0 1 {at} Tm {shown} T* ET")
            if len(runs) > 1:
                x += style.run_width(run, kind.size)

    def paragraph(
        self,
        box: Box,
        text: str,
        kind: Type = BODY,
        *,
        lines: int | None = None,
        role: Role = Role.TEXT,
    ) -> float:
        """Set a text in lines across a box, from its top; return the y below them."""
        if self.tags.holding:
            with self.part(role):
                return self.paragraph(box, text, kind, lines=lines)
        y = box.y
        for line in wrapped(text, kind, box.w, lines):
            self._run(box.x, y + kind.size, line, kind)
            y += kind.leading
        return y

    def heading(self, box: Box, text: str, note: str = "") -> float:
        """Set a section heading under a line, with a note if it fits; return the y below it."""
        self.line((box.x, box.y), (box.right, box.y), style.INK, 0.7)
        base = box.y + HEADING.size + 4
        with self.part(Role.HEADING):
            self.text(box.x, base, text, HEADING, width=box.w)
        used = HEADING.width(text) + 8
        if note and TINY_MUTED.width(note) <= box.w - used:
            self.text(box.x + used, base, note, TINY_MUTED)
        return base + 6

    def line(
        self, start: Point, end: Point, ink: str = style.HAIRLINE, thickness: float = 0.5
    ) -> None:
        """Draw a straight line."""
        self._shape(None, ink, thickness)
        self.canvas.line(start[0], self.height - start[1], end[0], self.height - end[1])

    def rectangle(
        self, box: Box, fill: str | None = None, stroke: str | None = None, thickness: float = 0.5
    ) -> None:
        """Draw a rectangle: filled, outlined or both."""
        self._shape(fill, stroke, thickness)
        self.canvas.rect(
            box.x,
            self.height - box.bottom,
            box.w,
            box.h,
            stroke=int(stroke is not None),
            fill=int(fill is not None),
        )

    def hatch(self, box: Box, ink: str, apart: float) -> None:
        """Draw slanting lines over a box, so far apart along its edge, in points."""
        self._shape(None, ink, 0.4)
        path = self.canvas.beginPath()
        at = apart
        while at < box.w + box.h:
            path.moveTo(box.x + max(0.0, at - box.h), self.height - box.y - min(at, box.h))
            path.lineTo(box.x + min(at, box.w), self.height - box.y - max(0.0, at - box.w))
            at += apart
        self.canvas.drawPath(path, stroke=1, fill=0)

    def circle(
        self, centre: Point, radius: float, fill: str, stroke: str, thickness: float = 0.5
    ) -> None:
        """Draw a circle around a point."""
        self._shape(fill, stroke, thickness)
        self.canvas.circle(centre[0], self.height - centre[1], radius, stroke=1, fill=1)

    def polygon(
        self, points: Sequence[Point], fill: str | None, stroke: str | None, thickness: float = 0.5
    ) -> None:
        """Draw a closed outline through the points."""
        self._shape(fill, stroke, thickness)
        path = self.canvas.beginPath()
        path.moveTo(points[0][0], self.height - points[0][1])
        for x, y in points[1:]:
            path.lineTo(x, self.height - y)
        path.close()
        self.canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))

    def _shape(self, fill: str | None, stroke: str | None, thickness: float) -> None:
        self.tags.mark()
        self._paint(fill, stroke, thickness)

    def _paint(self, fill: str | None, stroke: str | None, thickness: float) -> None:
        if fill is not None and fill != self._fill:
            self.canvas.addLiteral(_filling(fill))
            self._fill = fill
        if stroke is None:
            return
        if stroke != self._stroke:
            self.canvas.setStrokeColor(colour(stroke))
            self._stroke = stroke
        if thickness != self._thickness:
            self.canvas.setLineWidth(thickness)
            self._thickness = thickness


@cache
def colour(code: str) -> Color:
    """Return the colour of a code such as '#1D2A32'."""
    return HexColor(code)


@cache
def _filling(code: str) -> str:
    """Return what `setFillColor` writes for a colour that lets nothing through."""
    return f"{fp_str(colour(code).rgb())} rg"


def fitted(text: str, kind: Type, width: float) -> str:
    """Return the text, cut with an ellipsis to fit a width."""
    if kind.width(text) <= width:
        return text
    room = width - kind.width(ELLIPSIS)
    return text[: _letters_within(text, kind, room)].rstrip() + ELLIPSIS


def _letters_within(text: str, kind: Type, width: float) -> int:
    """Return how many first letters fit a width; at least one."""
    low, high = 1, min(len(text), int(width / (kind.size * _NARROWEST)) + 1)
    while low < high:
        middle = (low + high + 1) // 2
        if kind.width(text[:middle]) <= width:
            low = middle
        else:
            high = middle - 1
    return low


def text_height(text: str, kind: Type, width: float, lines: int | None = None) -> float:
    """Return the height of a paragraph in points."""
    return len(wrapped(text, kind, width, lines)) * kind.leading


@lru_cache(maxsize=5_000)
def wrapped(text: str, kind: Type, width: float, lines: int | None = None) -> tuple[str, ...]:
    """Break a text into lines of at most `width`; cut line number `lines` with an ellipsis."""
    if lines is not None:  # measure nothing that cannot be shown
        text = text[: int((lines + 1) * width / (kind.size * _NARROWEST)) + 1]
    broken = _lines(_pieces(text, kind, width), kind, width)
    if lines is None or len(broken) <= lines:
        return tuple(broken)
    rest = " ".join(broken[lines - 1 :])
    return (*broken[: lines - 1], fitted(rest, kind, width))


def _lines(words: Sequence[str], kind: Type, width: float) -> list[str]:
    """Join words into lines of at most `width`."""
    broken: list[str] = []
    line, length = "", 0.0
    space = kind.width(" ")
    # Without kerning, the widths of words add up. In eastern text they do not: a word's typeface
    # depends on its neighbours, so whole lines are measured.
    adds_up = max(map(max, words), default="") < eastern.FIRST
    for word in words:
        longer = f"{line} {word}" if line else word
        if adds_up:
            longest = kind.width(word) + (length + space if line else 0.0)
        else:
            longest = kind.width(longer)
        if longest <= width:
            line, length = longer, longest
        else:
            broken.append(line)
            line, length = word, kind.width(word)
    return [*broken, line] if line else broken


def _pieces(text: str, kind: Type, width: float) -> list[str]:
    """Return the words of a text, cut where they are longer than a line."""
    pieces = []
    for word in text.split(" "):
        rest = word
        while rest and kind.width(rest) > width:
            count = _letters_within(rest, kind, width)
            pieces.append(rest[:count])
            rest = rest[count:]
        if rest:
            pieces.append(rest)
    return pieces


MARK_RADIUS = 8.2  # points; two digits at the smallest size fit inside every shape

# Corners, the angle of the first in turns from the top, and the size that looks equal.
_CORNERS = {
    Shape.SQUARE: (4, 1 / 8, 1.18),
    Shape.TRIANGLE: (3, 0.0, 1.42),
    Shape.DIAMOND: (4, 0.0, 1.24),
    Shape.HEXAGON: (6, 1 / 12, 1.08),
    Shape.POINTED: (3, 1 / 2, 1.42),
    Shape.OCTAGON: (8, 1 / 16, 1.06),
    Shape.HOUSE: (5, 0.0, 1.16),
}
# A triangle's number belongs where the triangle is wide.
_NUMBER_DROP = {Shape.TRIANGLE: 1.0, Shape.POINTED: -1.0}


def channel_mark(  # noqa: PLR0913 - where, what, and three ways to vary it
    pen: Pen,
    at: tuple[float, float],
    channel: int | None,
    *,
    radius: float = MARK_RADIUS,
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
        drop = _NUMBER_DROP.get(mark.shape, 0.0) * radius / MARK_RADIUS
        pen.text(x, y + TINY_STRONG.size * 0.36 + drop, text, TINY_STRONG, align=Align.CENTRE)


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
