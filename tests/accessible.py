"""Whether a PDF can be read aloud: the checks of PDF/UA-1 (ISO 14289-1) by page-validation."""

import ctypes
from collections.abc import Callable, Iterator

import page
import pypdfium2 as pdfium
from pypdfium2 import raw


def shortcomings(octets: bytes) -> list[str]:
    """Return what an independent validator finds wrong with the tags of a PDF."""
    found = page.validate_pdf_bytes(octets, profile="ua1")
    assert found.rules.total > 100
    return [f"{failure.rule_id}: {failure.message}" for failure in found.failures]


def parts(octets: bytes, number: int = 0) -> list[tuple[str, str]]:
    """Return role and alternative text of every part of a page, as another reader finds them."""
    with pdfium.PdfDocument(octets) as document:
        leaf = document[number]
        tree = raw.FPDF_StructTree_GetForPage(leaf.raw)
        found = [
            one
            for at in range(raw.FPDF_StructTree_CountChildren(tree))
            for one in _below(raw.FPDF_StructTree_GetChildAtIndex(tree, at))
        ]
        raw.FPDF_StructTree_Close(tree)
        return found


def _below(part: object) -> Iterator[tuple[str, str]]:
    yield (
        _text(raw.FPDF_StructElement_GetType, part),
        _text(raw.FPDF_StructElement_GetAltText, part),
    )
    for at in range(raw.FPDF_StructElement_CountChildren(part)):
        child = raw.FPDF_StructElement_GetChildAtIndex(part, at)
        if child:
            yield from _below(child)


def _text(ask: Callable[..., int], part: object) -> str:
    length = ask(part, None, 0)
    letters = ctypes.create_string_buffer(length)
    ask(part, letters, length)
    return letters.raw.decode("utf-16-le").rstrip("\0")
