"""One look for paper and workbook: colours, type, spacing, paper sizes.

Colour never carries meaning alone: a word, a number or a shape says the same. Lightness differs
too, so that a greyscale print keeps the order.

Fira Sans covers Latin, Greek and Cyrillic, `eastern` Chinese, Japanese and Korean; what is printed
of them is embedded. Any other letter is printed as `MISSING`, never as an empty box.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache
from itertools import groupby
from math import ceil
from typing import Any
from unicodedata import category, normalize

import fontpkg
from reportlab.lib.rl_accel import fp_str
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from pipeline.report.kit import eastern
from pipeline.wording import visible

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
MARGIN = 42.0  # points
GUTTER = 20.0

A4 = (595.276, 841.89)  # ISO 216, points
LETTER = (612.0, 792.0)  # ANSI/ASME Y14.1, points
# Countries that print on Letter (from memory: Unicode CLDR, paper size by territory).
LETTER_COUNTRIES = frozenset(
    ("US", "CA", "MX", "PR", "PH", "CL", "CO", "CR", "GT", "PA", "SV", "VE", "NI", "BZ", "DO")
)


PAGE_LETTERS = 205  # of a workbook across a landscape page, printed no smaller than 7 points


class Shape(StrEnum):
    """The outlines that tell channels apart without colour."""

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
    """How a channel is drawn; `ringed` adds a second outline once the shapes repeat."""

    shape: Shape
    fill: str
    ringed: bool


# The five channels used most get the shapes and tints that differ most.
_ORDER = (15, 20, 25, 26, 11, 14, 16, 19, 21, 24, 12, 13, 17, 18, 22, 23)
_FILLS = ("#9CC8E3", "#F4DE8A", "#D9A0A8", "#FFFFFF", "#9FB58A", "#E8C9A0", "#C9C3DE", "#B8C2C6")
MARKS = {
    channel: Mark(tuple(Shape)[place % 8], _FILLS[place % 8], place >= len(_FILLS))
    for place, channel in enumerate(_ORDER)
}
NO_CHANNEL = Mark(Shape.SQUARE, PAPER, ringed=False)


def mark(channel: int | None) -> Mark:
    """Return how a channel is drawn; any outside 11..26 is a plain square."""
    return NO_CHANNEL if channel is None else MARKS.get(channel, NO_CHANNEL)


def busy_step(share: float) -> int:
    """Return the step of the busy scale for a share 0..1."""
    return sum(share > limit for limit in BUSY_LIMITS)


def page_size(country: str | None) -> tuple[float, float]:
    """Return the paper (width, height) in points: Letter where that is usual, else A4."""
    return LETTER if country in LETTER_COUNTRIES else A4


MISSING = "[?]"
_FAMILY = "Fira Sans"
# Letters of Latin-1 and Latin Extended-A, composed already, and the signs our own texts use.
_PLAIN = re.compile(
    "[ -~\xa0-\xac\xae-\u017f\u2010-\u2027\u202f-\u205e\u2190-\u2199\u2212\u2248\u2264\u2265]*"
)


def pages_wide(widths: Sequence[float], kept: int) -> int:
    """Return how many pages hold columns of so many letters, the first `kept` of them on each."""
    first = sum(widths[:kept])
    return max(1, ceil((sum(widths) - first) / max(1, PAGE_LETTERS - first)))


class Face(StrEnum):
    """The weights in use, by their names in a PDF."""

    TEXT = "FiraSans"
    STRONG = "FiraSans-SemiBold"
    LIGHT = "FiraSans-Light"


_WEIGHTS = {Face.TEXT: 400, Face.STRONG: 600, Face.LIGHT: 300}


@dataclass(frozen=True, slots=True)
class FontRun:
    """A stretch of text in one font."""

    font: str
    text: str


@cache
def register() -> None:
    """Register the typefaces, once per process."""
    for face, weight in _WEIGHTS.items():
        path = str(fontpkg.path(_FAMILY, weight=weight))
        # Only the letters printed go into a file, not all of ASCII.
        pdfmetrics.registerFont(TTFont(face.value, path, asciiReadable=0))


def name_unused_codes(document: object) -> None:
    """Say that codes of a document's typefaces without a letter are blanks, as PDF/UA-1 asks."""
    for name in pdfmetrics.getRegisteredFontNames():
        used = getattr(pdfmetrics.getFont(name), "state", {}).get(document)
        for subset in used.subsets if used else ():
            subset[:] = [letter or ord(" ") for letter in subset]


@lru_cache(maxsize=20_000)
def runs(text: str, face: Face) -> tuple[FontRun, ...]:
    """Split a text into stretches of one font each; `MISSING` stands for letters no font has."""
    register()
    if text.isascii() and text.isprintable():
        return (FontRun(face.value, text),) if text else ()
    letters = _printable(text)
    known = pdfmetrics.getFont(face.value).face.charToGlyph
    if all(ord(letter) in known for letter in set(letters)):
        return (FontRun(face.value, letters),) if letters else ()
    name, others = eastern.typeface(letters, _WEIGHTS[face])
    fonts = [
        (face.value if ord(c) in known else name if ord(c) in others else "", c) for c in letters
    ]
    return tuple(_joined(fonts, face))


@lru_cache(maxsize=50_000)
def text_width(text: str, face: Face, size: float) -> float:
    """Return the printed width of a text in points."""
    return sum(run_width(run, size) for run in runs(text, face))


def run_width(run: FontRun, size: float) -> float:
    """Return the printed width of one stretch in points."""
    return float(pdfmetrics.stringWidth(run.text, run.font, size))


def shown(run: FontRun, size: float, canvas: Any) -> str:  # noqa: ANN401 - has no public document
    """Return the operators that show a stretch in a document; its typeface is embedded."""
    font: Any = pdfmetrics.getFont(run.font)
    document = canvas._doc  # noqa: SLF001 - letters get their codes by document
    chosen, parts = None, []
    for subset, codes in font.splitString(run.text, document):
        if subset != chosen:
            name = font.getSubsetInternalName(subset, document)
            parts.append(f"{name} {_sized(size)}")
            chosen = subset
        parts.append(f"({canvas._escape(codes)}) Tj")  # noqa: SLF001 - as above
    return " ".join(parts)


@cache
def _sized(size: float) -> str:
    return f"{fp_str(size)} Tf {fp_str(size * 1.2)} TL"


def lacks(text: str) -> bool:
    """Tell whether any letter of the text can only be printed as `MISSING`."""
    if text.isascii() or _printed_as_they_are().issuperset(text):
        return False
    return MISSING not in text and any(MISSING in run.text for run in runs(text, Face.TEXT))


@cache
def _printed_as_they_are() -> frozenset[str]:
    """Return the letters that need no composing and that the typeface has."""
    register()
    known = map(chr, pdfmetrics.getFont(Face.TEXT.value).face.charToGlyph)
    return frozenset(letter for letter in known if _PLAIN.fullmatch(letter))


def _joined(fonts: list[tuple[str, str]], face: Face) -> Iterator[FontRun]:
    for font, group in groupby(fonts, key=lambda pair: pair[0]):
        stretch = "".join(letter for _, letter in group)
        yield FontRun(font, stretch) if font else FontRun(face.value, MISSING)


def _printable(text: str) -> str:
    """Compose accents, turn white space into spaces, drop format characters: they have no shape."""
    if _PLAIN.fullmatch(text):
        return text.replace("\N{NARROW NO-BREAK SPACE}", " ")
    composed = normalize("NFC", visible(text))
    spaced = "".join(" " if c.isspace() and c != "\N{NO-BREAK SPACE}" else c for c in composed)
    return "".join(c for c in spaced if category(c) != "Cf")
