"""Read scans as people paste them from a terminal: known by their shape, a channel and a level.

A line may hold one such pair or many, with any marks between and a moment before them; lines
without pairs may stand above, such as `Store: S001`, and words without figures anywhere. Levels
have a sign.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.ingest.delimited import DeliveredRow, Head, TextDialect
from pipeline.ingest.turned import named_line

_OCTETS_MOST = 4 << 20  # of a text that a person pasted
_PAIRS_LEAST = 2
_DIALECT = TextDialect("\t", '"', '"')
_MOMENT = re.compile(r"\W*(\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?(?:\.\d+)?Z?)\s+")
_WORD = r"(?:ch(?:annel)?|kanal|kanał|kanaal|canale?|level|rssi|ed|energy|pegel)"
_PAIR = re.compile(
    rf"{_WORD}?[\s.:=]*(?P<channel>(?<![\d.])(?:1[1-9]|2[0-6])(?![\d.])|0x(?:0?[b-f]|1[0-9a])\b"
    rf"|24[0-8][05] ?mhz)[\s:=,;|>\])\-]*?{_WORD}?[\s:=]*(?P<level>[-\u2212]\d{{1,3}}(?:[.,]\d+)?)"
    r"(?!\d)\s*(?:dbm)?",
    re.IGNORECASE,
)
_MARKS = re.compile(r"[\s\[\](){},;|#*]+")


@dataclass(frozen=True, slots=True)
class Scans:
    """The head of a text of scans, and a row for every pair."""

    head: Head
    rows: tuple[DeliveredRow, ...]

    def lines(self) -> Iterator[str]:
        """Yield the rows as plain lines."""
        width = len(self.head.headings.cells)
        return (row.plain(width, _DIALECT.delimiter) for row in self.rows)


def read_scans(path: Path) -> Scans | None:
    """Return the scans of a UTF-8 text; none where it has another shape."""
    if path.stat().st_size > _OCTETS_MOST:
        return None
    titles: list[DeliveredRow] = []
    rows: list[DeliveredRow] = []
    said: dict[str, str] = {}
    between: dict[str, None] = {}  # names of which a line stands between the pairs too
    above: list[dict[str, str]] = []
    text = path.read_text(encoding="utf-8-sig", errors="replace")
    for number, line in enumerate(text.splitlines(), start=1):
        moment, pairs = _pairs(line)
        rows += [DeliveredRow(number, [*pair, moment]) for pair in pairs]
        above += [dict(said)] * len(pairs)
        name, value = named_line(line)
        if name and not pairs:
            said[name] = value
            between |= {name: None} if rows else {}
            if rows:
                continue
        if not pairs and rows and re.search(r"\d", line):
            return None
        if not (pairs or rows):
            titles.append(DeliveredRow(number, [line]))
    timed = {bool(row.cells[2]) for row in rows}
    if len(rows) < _PAIRS_LEAST or len(timed) > 1:
        return None
    headings = ["channel", "level dBm", *(["time"] if timed == {True} else [])]
    cut = tuple(
        DeliveredRow(row.line, [*row.cells[: len(headings)], *(of.get(n, "") for n in between)])
        for row, of in zip(rows, above, strict=True)
    )
    headings += between
    titles = [row for row in titles if named_line(row.cells[0])[0] not in between]
    return Scans(Head(_DIALECT, tuple(titles), DeliveredRow(0, headings), 1), cut)


def _pairs(line: str) -> tuple[str, list[list[str]]]:
    """Return the moment before a line's pairs, and these; none where anything else is in it."""
    before = _MOMENT.match(line)
    rest = line[before.end() :] if before else line
    found = [[pair["channel"], pair["level"]] for pair in _PAIR.finditer(rest)]
    if _MARKS.sub("", _PAIR.sub("", rest)):
        return "", []
    return before[1] if before and found else "", found
