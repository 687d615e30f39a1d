"""Say what each part of a PDF page is: a heading, a paragraph, a cell, a picture or decoration.

A screen reader goes by these tags: marked content and a structure tree as in ISO 32000-1, 14.6 to
14.8, identified as PDF/UA-1 (ISO 14289-1).
"""

import codecs
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import Enum
from typing import Any
from xml.sax.saxutils import escape

from reportlab.pdfbase.pdfdoc import XMP, PDFString
from reportlab.pdfgen.canvas import Canvas

from pipeline.report.kit.style import name_unused_codes


class Role(Enum):
    """What a part of a page is: its standard structure type, and its attributes if it has any."""

    DOCUMENT = "Document", ""
    TITLE = "H1", ""
    HEADING = "H2", ""
    TEXT = "P", ""
    PICTURE = "Figure", ""
    TABLE = "Table", ""
    ROW = "TR", ""
    HEAD = "TH", "/A<</O/Table/Scope/Column>>"
    SIDE = "TH", "/A<</O/Table/Scope/Row>>"
    CELL = "TD", ""
    LINK = "Link", ""


_HOLDERS = {Role.DOCUMENT, Role.TABLE, Role.ROW}  # hold parts, nothing drawn
_PICTURE_BOX = "/A<</O/Layout/BBox[{:.1f} {:.1f} {:.1f} {:.1f}]>>"
_METADATA = """<?xpacket begin="\N{ZERO WIDTH NO-BREAK SPACE}" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">
<pdfuaid:part>1</pdfuaid:part>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="r"?>
"""


@dataclass(slots=True, eq=False)
class _Part:
    """A part of the document: its role, its page, and what it holds in the order drawn.

    It holds numbers of marked content, other parts, and names of links.
    """

    role: Role
    above: "_Part | None"
    page: int
    more: str = ""
    holds: "list[int | _Part | str]" = field(default_factory=list)
    number: int = 0  # of its object in the file


class Tags:
    """The parts of a document, gathered while its pages are drawn."""

    def __init__(self, canvas: Canvas) -> None:
        self._canvas: Any = canvas
        self._root = _Part(Role.DOCUMENT, None, 0)
        self._parts = [self._root]
        self._stack = [self._root]
        self._pages: list[list[_Part]] = [[]]
        self._links: list[_Part] = []
        self._open: _Part | None = None  # what the marked content being drawn belongs to
        self._marked = False
        self._aside = False

    @contextmanager
    def part(
        self, role: Role, alternative: str = "", box: Sequence[float] | None = None
    ) -> Iterator[None]:
        """Take what is drawn as a part of this role; of a picture, say in words what it shows.

        A part within a picture, or beside the document, is no part of its own. `box` is where a
        picture is: left, bottom, right and top in points.
        """
        if self._aside or self._stack[-1].role is Role.PICTURE:
            yield
            return
        _, more = role.value
        if alternative:
            more += f"/Alt{_hex(alternative)}"
        if box is not None:
            more += _PICTURE_BOX.format(*box)
        above = self._stack[-1]
        part = _Part(role, above, len(self._pages) - 1, more)
        above.holds.append(part)
        self._parts.append(part)
        self._stack.append(part)
        yield
        self._stack.pop()

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Take what is drawn as no part of the document, such as the foot of a page."""
        before, self._aside = self._aside, True
        yield
        self._aside = before

    @property
    def holding(self) -> bool:
        """Whether text drawn now needs a part of its own."""
        return not self._aside and self._stack[-1].role in _HOLDERS

    def mark(self) -> None:
        """Mark what is drawn next as belonging to the part at hand, else as decoration."""
        part = None if self._aside or self._stack[-1].role in _HOLDERS else self._stack[-1]
        if self._marked and part is self._open:
            return
        self._end()
        if part is None:
            self._canvas.addLiteral("/Artifact BMC")
        else:
            marks = self._pages[-1]
            self._canvas.addLiteral(f"/{part.role.value[0]}<</MCID {len(marks)}>>BDC")
            part.holds.append(len(marks))
            marks.append(part)
        self._open, self._marked = part, True

    def link(self, target: str, area: tuple[float, float, float, float], says: str) -> None:
        """Add a link over an area of the page to the part at hand, which is one."""
        number = len(self._links)
        key = _LINKS + number
        self._canvas.linkURL(target, area, Contents=PDFString(says), StructParent=key, F=_PRINTED)
        part = self._stack[-1]
        part.holds.append(str(self._canvas._annotationrefs[-1].name))  # noqa: SLF001 - no other way
        self._links.append(part)

    def end_page(self) -> None:
        """Close what is open on a page, before the next begins."""
        self._end()
        self._pages.append([])

    def _end(self) -> None:
        if self._marked:
            self._canvas.addLiteral("EMC")
        self._marked = False

    def write(self, title: str) -> None:
        """Write the tree of parts into the document, once all pages are drawn."""
        document = self._canvas._doc  # noqa: SLF001 - the library has no call for a structure tree
        name_unused_codes(document)
        pages = document.Pages.pages
        refs = [document.Reference(page).format(document).decode() for page in pages]
        for number, page in enumerate(pages):
            page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
            page.StructParents, page.Tabs = number, "/S"
        for at, part in enumerate(self._parts):
            part.number = _reserve(document, f"part-{at}")
        tree, parents = _reserve(document, "part-tree"), _reserve(document, "part-parents")
        for at, part in enumerate(self._parts):
            above = part.above.number if part.above else tree
            _fill(document, f"part-{at}", _written(part, above, refs, document))
        _fill(document, "part-parents", self._parents())
        root = f"<</Type/StructTreeRoot/K {self._root.number} 0 R/ParentTree {parents} 0 R>>"
        _fill(document, "part-tree", root)
        catalog = document.Catalog
        catalog.__NoDefault__ = [*catalog.__NoDefault__, "MarkInfo", "Metadata"]
        catalog.__Refs__ = [name for name in catalog.__Refs__ if name != "MarkInfo"]
        catalog.StructTreeRoot, catalog.MarkInfo = f"{tree} 0 R", "<</Marked true>>"
        catalog.Metadata = XMP(creator=lambda _: _METADATA.format(title=escape(title)).encode())

    def _parents(self) -> str:
        """Return to which part each marked content and each link belongs."""
        pages = [
            f"{at}[{' '.join(f'{part.number} 0 R' for part in marks)}]"
            for at, marks in enumerate(self._pages)
        ]
        links = [f"{_LINKS + at} {part.number} 0 R" for at, part in enumerate(self._links)]
        return f"<</Nums[{' '.join([*pages, *links])}]>>"


_PRINTED = 4  # the flag of an annotation that is printed with its page
_LINKS = 10_000  # the keys of links in the tree of parents, after those of pages


def _reserve(document: Any, name: str) -> int:  # noqa: ANN401 - the library ships no types
    document.Reference(b"", name)
    return int(document.idToObjectNumberAndVersion[name][0])


def _fill(document: Any, name: str, text: str) -> None:  # noqa: ANN401 - as above
    document.idToObject[name] = text.encode("ascii")


def _written(part: _Part, above: int, pages: Sequence[str], document: Any) -> str:  # noqa: ANN401
    """Return a part as an object of the file."""
    held = []
    for one in part.holds:
        if isinstance(one, _Part):
            held.append(f"{one.number} 0 R")
        elif isinstance(one, str):
            number = document.idToObjectNumberAndVersion[one][0]
            held.append(f"<</Type/OBJR/Obj {number} 0 R>>")
        else:
            held.append(str(one))
    page = "" if part.role in _HOLDERS else f"/Pg {pages[part.page]}"
    return f"<</S/{part.role.value[0]}/P {above} 0 R{page}/K[{' '.join(held)}]{part.more}>>"


def in_words(what: str, parts: Sequence[str]) -> str:
    """Return a sentence that says what a picture shows, and what is in it."""
    return f"{what}: {', '.join(parts)}." if parts else f"{what}."


def _hex(text: str) -> str:
    return f"<{codecs.BOM_UTF16_BE.hex()}{text.encode('utf-16-be').hex()}>"
