"""Count the records of a delimited text by a small state machine that shares no code with ingest.

A record ends at a line end outside of quotation marks. A quotation mark opens only at the start
of a field and closes before a delimiter or a line end. Where a quoted text does not come out
within 200 lines as one record of the headings' width, the line it begins on is one record by
itself. Source: RFC 4180 section 2 for well-formed texts; the rule for the others is ours
(docs/exports.md).
"""

from collections.abc import Iterator, Sequence

_SPAN_MOST = 200


def lines_of(text: str) -> list[str]:
    r"""Return the physical lines with their ends: \n, \r\n or a lone \r."""
    lines, start, at = [], 0, 0
    while at < len(text):
        if text[at] == "\r" and text[at + 1 : at + 2] == "\n":
            at += 1
        if text[at] in "\r\n":
            lines.append(text[start : at + 1])
            start = at + 1
        at += 1
    return [*lines, text[start:]] if start < len(text) else lines


def cells_of(record: str, delimiter: str, quote: str = '"') -> list[str] | None:
    """Return the cells of one record; none where its quotation marks do not come out."""
    cells, cell, state = [], "", "start"
    for letter in record:
        if state == "start" and letter == quote:
            state = "quoted"
        elif state == "quoted":
            state, cell = ("closing", cell) if letter == quote else ("quoted", cell + letter)
        elif state == "closing" and letter == quote:
            state, cell = "quoted", cell + quote
        elif letter == delimiter:
            cells.append(cell)
            cell, state = "", "start"
        elif letter in "\r\n":
            state = "ended" if state != "plain" else state
        elif state in {"closing", "ended"}:
            return None
        else:
            state, cell = "plain", cell + letter
    return None if state == "quoted" else [*cells, cell]


def records_of(
    lines: Sequence[str], delimiter: str, width: int, quote: str = '"'
) -> Iterator[tuple[int, list[str] | None]]:
    """Yield (place of the first line, cells) of each record; cells none where it is broken."""
    at = 0
    while at < len(lines):
        taken, cells = 1, cells_of(lines[at], delimiter, quote)
        if cells is None:
            for span in range(2, _SPAN_MOST + 2):
                if at + span > len(lines):
                    break
                joined = "".join(lines[at : at + span])
                found = (
                    cells_of(joined, delimiter, quote) if quote in lines[at + span - 1] else None
                )
                if found is not None:
                    if len(found) == width:
                        taken, cells = span, found
                    break
        yield at, cells
        at += taken


def filled(cells: list[str] | None) -> bool:
    """Say whether a record holds anything; a broken one does."""
    return cells is None or any(cell.strip() for cell in cells)
