"""Chinese, Japanese and Korean letters, embedded as all others are.

Their typeface (Noto Sans CJK, SIL Open Font License 1.1) keeps cubic outlines (CFF2, as in
ISO/IEC 14496-22) for every weight and both kinds of Han forms; reportlab embeds quadratic ones
(TrueType) only. So those letters that a document prints are drawn anew, within half a thousandth
of their height, and only they go into its file.
"""

import re
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any
from weakref import WeakKeyDictionary

from fontTools.fontBuilder import FontBuilder
from fontTools.pens.cu2quPen import Cu2QuPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont as Outlines
from fontTools.ttLib import newTable
from fontTools.ttLib.tables._c_m_a_p import CmapSubtable
from reportlab.pdfbase import pdfmetrics, ttfonts

FIRST = "\u2e80"
"""No letter before this one needs an eastern typeface: Unicode's first block of Han parts."""
# Which of the typefaces in the file: Han letters have their forms by language.
_JAPANESE, _KOREAN, _CHINESE = "JP", "KR", "SC"
_NUMBERS = {_JAPANESE: 0, _KOREAN: 1, _CHINESE: 2}
_SCRIPTS = (
    (_JAPANESE, re.compile("[\u3040-\u30ff\u31f0-\u31ff\uff66-\uff9f]")),
    (_KOREAN, re.compile("[\u3130-\u318f\uac00-\ud7a3\uffa1-\uffdc]")),
)
_ERROR = 0.5  # the most an outline may stray, in units of which a letter is a thousand high
_BEYOND = re.compile("<([0-9A-F]{5})>")  # a code with no room in four digits


def typeface(text: str, weight: int) -> tuple[str, dict[int, Any]]:
    """Return the name and the letters of the typeface for all eastern letters of a text.

    It is chosen by the script of the text, and registered; a text without eastern letters needs
    none. Weights are those of ISO/IEC 14496-22.
    """
    if max(text, default="") < FIRST:
        return "", {}
    language = next((name for name, script in _SCRIPTS if script.search(text)), _CHINESE)
    font = _font(language, weight)
    return font.fontName, font.face.charToGlyph


@cache
def _font(language: str, weight: int) -> Any:  # noqa: ANN401 - the library ships no types
    font = _Font(language, weight)
    pdfmetrics.registerFont(font)
    return font


@cache
def _outlines(language: str) -> Outlines:
    path = files("manimgx_fonts_cjk") / "NotoSansCJK-VF.otf.ttc"
    return Outlines(str(path), fontNumber=_NUMBERS[language], lazy=True)


class _Font(ttfonts.TTFont):  # type: ignore[misc]  # the library ships no types
    """A weight of the typeface in one language, as reportlab takes it."""

    def __init__(self, language: str, weight: int) -> None:
        self.fontName = f"NotoSansCJK{language}-{weight}"
        self.face = _Face(self.fontName, _outlines(language), weight)
        self.encoding = ttfonts.TTEncoding()
        self.state: WeakKeyDictionary[Any, Any] = WeakKeyDictionary()
        self.shapable = self._asciiReadable = False

    def addObjects(self, doc: Any) -> None:  # noqa: ANN401, N802 - the library's
        """Add the letters used; say letters beyond U+FFFF in UTF-16, as ISO 32000-1, 9.10.3."""
        super().addObjects(doc)
        for name, held in doc.idToObject.items():
            if name.startswith("toUnicodeCMap:") and self.fontName in name:
                held.content = _BEYOND.sub(_in_utf16, held.content)


class _Face(ttfonts.TTFontFace):  # type: ignore[misc]  # the library ships no types
    """Letters by their code points, and their outlines once a document needs them."""

    def __init__(self, name: str, outlines: Outlines, weight: int) -> None:
        pdfmetrics.TypeFace.__init__(self, None)
        self._outlines, self._weight = outlines, weight
        self.name, self.subfontNameX = name.encode(), b""
        self.filename = self.familyName = name
        self.charToGlyph = {
            code: glyph
            for code, glyph in outlines.getBestCmap().items()
            if code >= ord(FIRST) or code == ord(" ")
        }
        measures = outlines["hmtx"]
        self.charWidths = {code: measures[glyph][0] for code, glyph in self.charToGlyph.items()}
        self.defaultWidth = measures[".notdef"][0]
        head, lines = outlines["head"], outlines["OS/2"]
        self.bbox = [head.xMin, head.yMin, head.xMax, head.yMax]
        self.ascent, self.descent = lines.sTypoAscender, lines.sTypoDescender
        self.capHeight, self.italicAngle = lines.sCapHeight, 0
        self.flags, self.stemV = ttfonts.FF_SYMBOLIC, 50 + int((weight / 65.0) ** 2)

    def makeSubset(self, subset: list[int]) -> bytes:  # noqa: N802 - the library's
        """Return a TrueType file of these letters; a letter's code is its place in the list."""
        drawn = self._outlines.getGlyphSet(location={"wght": self._weight})
        names = [self.charToGlyph.get(code, ".notdef") for code in subset]
        order = list(dict.fromkeys([".notdef", *names]))
        built = FontBuilder(unitsPerEm=1000)
        built.setupGlyphOrder(order)
        built.setupGlyf({name: _quadratic(drawn, name) for name in order})
        measures, shapes = self._outlines["hmtx"], built.font["glyf"]
        built.setupHorizontalMetrics(
            {name: (measures[name][0], getattr(shapes[name], "xMin", 0)) for name in order}
        )
        built.setupHorizontalHeader(ascent=self.ascent, descent=self.descent)
        built.setupPost(keepGlyphNames=False)
        built.font["cmap"] = _codes(names)
        for moment in ("created", "modified"):
            setattr(built.font["head"], moment, 0)  # no clock: the same letters, the same bytes
        built.font.recalcTimestamp = False
        file = BytesIO()
        built.save(file)
        return file.getvalue()


def _quadratic(drawn: Any, name: str) -> Any:  # noqa: ANN401 - the library ships no types
    pen = TTGlyphPen(None)
    drawn[name].draw(Cu2QuPen(pen, _ERROR, reverse_direction=True))
    return pen.glyph()


def _codes(names: list[str]) -> Any:  # noqa: ANN401 - as above
    table = newTable("cmap")
    codes = CmapSubtable.newSubtable(6)
    codes.platformID, codes.platEncID, codes.language = 1, 0, 0
    codes.cmap = dict(enumerate(names))
    table.tableVersion, table.tables = 0, [codes]
    return table


def _in_utf16(code: "re.Match[str]") -> str:
    return f"<{chr(int(code[1], 16)).encode('utf-16-be').hex().upper()}>"
