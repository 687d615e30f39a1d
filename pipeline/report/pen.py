"""Draw on a PDF page: text that fits, lines, boxes. Points, counted from the top left corner."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache, lru_cache

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfgen.canvas import Canvas

from pipeline.report import fonts, style
from pipeline.report.fonts import Face

Point = tuple[float, float]  # from the left, from the top

ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
LEADING = 1.28
_NARROWEST = 0.15  # of its size is the least a letter takes
HEADING_H = 20.0  # what a section heading takes


class Align(StrEnum):
    """Which part of a text stands at its point."""

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
        """Return what is left of the box from `y` down."""
        return replace(self, y=y, h=self.bottom - y)


BODY = Type()
SMALL = Type(style.SMALL)
SMALL_MUTED = Type(style.SMALL, colour=style.MUTED)
TINY = Type(style.TINY)
TINY_MUTED = Type(style.TINY, colour=style.MUTED)
STRONG = Type(style.BODY, Face.STRONG)
SMALL_STRONG = Type(style.SMALL, Face.STRONG)
HEADING = Type(10.2, Face.STRONG, style.PLANNED)


class Pen:
    """A canvas seen from the top left corner, for one page: a new page starts with a new pen."""

    def __init__(self, canvas: Canvas, size: tuple[float, float]) -> None:
        self.canvas = canvas
        self.width, self.height = size
        # What the page is set to: saying it again would make files larger and slower.
        self._fill = self._stroke = ""
        self._thickness = -1.0

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
        """Set one line with its base line at `y`; cut with an ellipsis where `width` is given."""
        line = text if width is None else fitted(text, kind, width)
        if align is not Align.LEFT:
            length = fonts.width(line, kind.face, kind.size)
            x -= length if align is Align.RIGHT else length / 2
        self._paint(kind.colour, None, 0)
        for run in fonts.runs(line, kind.face):
            self.canvas.setFont(run.font, kind.size)
            self.canvas.drawString(x, self.height - y, run.text)
            x += fonts.run_width(run, kind.size)

    def paragraph(
        self, box: Box, text: str, kind: Type = BODY, *, lines: int | None = None
    ) -> float:
        """Set a text in lines of the box's width from its top; return the y below them."""
        y = box.y
        for line in wrapped(text, kind, box.w, lines):
            self.text(box.x, y + kind.size, line, kind)
            y += kind.leading
        return y

    def heading(self, box: Box, text: str, note: str = "") -> float:
        """Set a section's heading on a hairline, with an aside; return the y below it."""
        self.line((box.x, box.y), (box.right, box.y), style.INK, 0.7)
        base = box.y + HEADING.size + 4
        self.text(box.x, base, text, HEADING, width=box.w)
        used = fonts.width(text, HEADING.face, HEADING.size) + 8
        if note and fonts.width(note, TINY_MUTED.face, TINY_MUTED.size) <= box.w - used:
            self.text(box.x + used, base, note, TINY_MUTED)
        return base + 6

    def line(
        self, start: Point, end: Point, ink: str = style.HAIRLINE, thickness: float = 0.5
    ) -> None:
        """Draw a straight line."""
        self._paint(None, ink, thickness)
        self.canvas.line(start[0], self.height - start[1], end[0], self.height - end[1])

    def rectangle(
        self, box: Box, fill: str | None = None, stroke: str | None = None, thickness: float = 0.5
    ) -> None:
        """Draw a rectangle, filled, outlined or both."""
        self._paint(fill, stroke, thickness)
        self.canvas.rect(
            box.x,
            self.height - box.bottom,
            box.w,
            box.h,
            stroke=int(stroke is not None),
            fill=int(fill is not None),
        )

    def circle(
        self, centre: Point, radius: float, fill: str, stroke: str, thickness: float = 0.5
    ) -> None:
        """Draw a circle around a point."""
        self._paint(fill, stroke, thickness)
        self.canvas.circle(centre[0], self.height - centre[1], radius, stroke=1, fill=1)

    def polygon(
        self,
        points: Sequence[Point],
        fill: str | None,
        stroke: str | None,
        thickness: float = 0.5,
    ) -> None:
        """Draw a closed outline through the points."""
        self._paint(fill, stroke, thickness)
        path = self.canvas.beginPath()
        path.moveTo(points[0][0], self.height - points[0][1])
        for x, y in points[1:]:
            path.lineTo(x, self.height - y)
        path.close()
        self.canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))

    def _paint(self, fill: str | None, stroke: str | None, thickness: float) -> None:
        if fill is not None and fill != self._fill:
            self.canvas.setFillColor(colour(fill))
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


def fitted(text: str, kind: Type, width: float) -> str:
    """Return the text, or as much of its beginning as fits with an ellipsis."""
    if fonts.width(text, kind.face, kind.size) <= width:
        return text
    room = width - fonts.width(ELLIPSIS, kind.face, kind.size)
    return text[: _letters_within(text, kind, room)].rstrip() + ELLIPSIS


def _letters_within(text: str, kind: Type, width: float) -> int:
    """Return how many letters from the beginning fit a width; at least one."""
    low, high = 1, min(len(text), int(width / (kind.size * _NARROWEST)) + 1)
    while low < high:
        middle = (low + high + 1) // 2
        if fonts.width(text[:middle], kind.face, kind.size) <= width:
            low = middle
        else:
            high = middle - 1
    return low


def text_height(text: str, kind: Type, width: float, lines: int | None = None) -> float:
    """Return the height in points that a paragraph takes."""
    return len(wrapped(text, kind, width, lines)) * kind.leading


@lru_cache(maxsize=5_000)
def wrapped(text: str, kind: Type, width: float, lines: int | None = None) -> tuple[str, ...]:
    """Break a text into lines of at most `width`; the last of `lines` ends in an ellipsis."""
    if lines is not None:  # whatever cannot be reached is not measured
        text = text[: int((lines + 1) * width / (kind.size * _NARROWEST)) + 1]
    broken = _lines(_pieces(text, kind, width), kind, width)
    if lines is None or len(broken) <= lines:
        return tuple(broken)
    rest = " ".join(broken[lines - 1 :])
    return (*broken[: lines - 1], fitted(rest, kind, width))


def _lines(words: Sequence[str], kind: Type, width: float) -> list[str]:
    """Put words together into lines of at most `width`."""
    broken: list[str] = []
    line, length = "", 0.0
    space = fonts.width(" ", kind.face, kind.size)
    # The typeface has no kerning here, so widths add up; in eastern text a word's typeface depends
    # on its neighbours, so lines are measured whole.
    adds_up = max(map(max, words), default="") < fonts.FIRST_EASTERN
    for word in words:
        longer = f"{line} {word}" if line else word
        if adds_up:
            longest = fonts.width(word, kind.face, kind.size) + (length + space if line else 0.0)
        else:
            longest = fonts.width(longer, kind.face, kind.size)
        if longest <= width:
            line, length = longer, longest
        else:
            broken.append(line)
            line, length = word, fonts.width(word, kind.face, kind.size)
    return [*broken, line] if line else broken


def _pieces(text: str, kind: Type, width: float) -> list[str]:
    """Return the words of a text, words longer than a line cut into pieces that fit."""
    pieces = []
    for word in text.split(" "):
        rest = word
        while rest and fonts.width(rest, kind.face, kind.size) > width:
            count = _letters_within(rest, kind, width)
            pieces.append(rest[:count])
            rest = rest[count:]
        if rest:
            pieces.append(rest)
    return pieces
