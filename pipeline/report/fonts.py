"""The printed typeface, and what happens to letters it lacks.

Fira Sans covers Latin, Greek and Cyrillic and is embedded. Chinese, Japanese and Korean letters
use the typefaces that every PDF reader brings (ISO 32000: predefined character collections). Any
other letter is printed as `MISSING`, never as an empty box.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache
from itertools import groupby
from unicodedata import category, normalize

import fontpkg
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFont

MISSING = "[?]"
_FAMILY = "Fira Sans"


class Face(StrEnum):
    """The weights in use; the value is the name the PDF knows them by."""

    TEXT = "FiraSans"
    STRONG = "FiraSans-SemiBold"
    LIGHT = "FiraSans-Light"


_WEIGHTS = {Face.TEXT: 400, Face.STRONG: 600, Face.LIGHT: 300}
_KANA_BLOCKS = ((0x3040, 0x30FF),)  # Unicode blocks: first and last code point
_HANGUL_BLOCKS = ((0xAC00, 0xD7A3),)
_EASTERN = ((0x3000, 0x30FF), (0x4E00, 0x9FFF), (0xAC00, 0xD7A3), (0xFF01, 0xFF60))
FIRST_EASTERN = chr(min(first for first, _ in _EASTERN))
"""No letter before this one needs an eastern typeface."""
_KANA, _HANGUL, _HAN = "HeiseiKakuGo-W5", "HYGothic-Medium", "STSong-Light"


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of text in one font."""

    font: str
    text: str


@cache
def register() -> None:
    """Make the typefaces known, once per process."""
    for face, weight in _WEIGHTS.items():
        pdfmetrics.registerFont(TTFont(face.value, str(fontpkg.path(_FAMILY, weight=weight))))


@lru_cache(maxsize=20_000)
def runs(text: str, face: Face) -> tuple[Run, ...]:
    """Split a text into stretches of one font each; `MISSING` stands for letters no font has."""
    register()
    if text.isascii() and text.isprintable():
        return (Run(face.value, text),) if text else ()
    letters = _printable(text)
    eastern = _eastern_font(letters)
    known = pdfmetrics.getFont(face.value).face.charToGlyph
    fonts = [
        (face.value if ord(c) in known else eastern if _within(c, _EASTERN) else "", c)
        for c in letters
    ]
    return tuple(_joined(fonts, face))


@lru_cache(maxsize=50_000)
def width(text: str, face: Face, size: float) -> float:
    """Return the printed width of a text in points."""
    return sum(run_width(run, size) for run in runs(text, face))


def run_width(run: Run, size: float) -> float:
    """Return the printed width of one stretch in points."""
    return float(pdfmetrics.stringWidth(run.text, run.font, size))


def lacks(text: str) -> bool:
    """Tell whether some letter of the text can only be printed as `MISSING`."""
    return MISSING not in text and any(MISSING in run.text for run in runs(text, Face.TEXT))


def borrows(text: str) -> bool:
    """Tell whether some letter of the text is drawn with a typeface of the reader's machine."""
    return any(run.font in (_KANA, _HANGUL, _HAN) for run in runs(text, Face.TEXT))


def _joined(fonts: list[tuple[str, str]], face: Face) -> Iterator[Run]:
    for font, group in groupby(fonts, key=lambda pair: pair[0]):
        stretch = "".join(letter for _, letter in group)
        yield Run(font, stretch) if font else Run(face.value, MISSING)


def _printable(text: str) -> str:
    """Compose accents, turn any white space into a space, drop marks that have no shape."""
    composed = normalize("NFC", text)
    spaced = "".join(" " if c.isspace() and c != "\N{NO-BREAK SPACE}" else c for c in composed)
    return "".join(c for c in spaced if category(c) not in ("Cc", "Cf"))


def _within(letter: str, blocks: tuple[tuple[int, int], ...]) -> bool:
    point = ord(letter)
    return any(first <= point <= last for first, last in blocks)


def _eastern_font(text: str) -> str:
    """Return the typeface for all eastern letters of a text: the script tells the language."""
    if max(text, default="") < FIRST_EASTERN:
        return ""
    for blocks, name in ((_KANA_BLOCKS, _KANA), (_HANGUL_BLOCKS, _HANGUL), (_EASTERN, _HAN)):
        if any(_within(letter, blocks) for letter in text):
            return _eastern(name)
    return ""


@cache
def _eastern(name: str) -> str:
    pdfmetrics.registerFont(UnicodeCIDFont(name))
    return name
