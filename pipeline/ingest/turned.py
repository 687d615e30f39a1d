"""Tables laid out another way, and scans pasted from a terminal: all are told by their shape.

A column a station; one table below another with its own line; a field a line; fields down. A
pasted line may hold one pair of channel and level or many, with any marks between and a moment
before them; lines without pairs may stand above, such as `Store: S001`, and words without figures
anywhere. Levels have a sign.
"""

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.ingest.delimited import PLAIN_COLUMNS, DeliveredRow, Head, TextDialect
from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.words import (
    LESSER,
    READINGS,
    TableRefused,
    fold,
    is_channel,
    looks_like,
    shortened,
)
from pipeline.tables.cells import CHANNEL, LEVEL

BY_STATION = "column names"
"""What the rules file says a station's key is, where each station has a column."""
Lines = Callable[[], Iterator[str]]
"""What yields the rows of a table as plain lines."""
Values = Sequence[Sequence[str]]
_UNIT = re.compile(r"[\s\[(]*-?dbm[\s\])]*$", re.IGNORECASE)
_SPAN_LEAST = 2  # columns of stations, or tables below one another
_DOWN_LEAST = 3  # known headings below one another
_FIELDS_MOST = 60  # of them
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
class _Turn:
    """A table with a column a station: its kind, what stands in these columns, and their places."""

    kind: str
    value: str
    places: tuple[int, ...]


def by_station(
    head: Head, values: Callable[[], Values], lines: Lines, vocabulary: Vocabulary
) -> tuple[Head, Lines] | None:
    """Return the head and lines of a row a station, where the rules file says columns are stations.

    `values` gives the first ones of each column.
    """
    told = [kind for kind, words in vocabulary.fields.items() if words.get(BY_STATION)]
    cells = head.headings.cells
    layout = _layout(cells, values(), vocabulary) if told else None
    if layout is None or layout.kind not in told:
        return None
    kept = [place for place in range(len(cells)) if place not in layout.places]
    named = {place: _UNIT.sub("", cells[place]).strip() for place in layout.places}
    headings = [*(cells[place] for place in kept), "station", layout.value]
    delimiter = head.dialect.delimiter
    turned = replace(head, headings=replace(head.headings, cells=headings))
    return turned, lambda: _turned(lines, delimiter, kept, named)


def _turned(
    lines: Lines, delimiter: str, kept: Sequence[int], named: Mapping[int, str]
) -> Iterator[str]:
    """Yield a plain line for each station of each row; a row of another form stays as it is."""
    width = len(kept) + 2
    for row in csv.reader(lines(), delimiter=delimiter):
        line, fault, cells = int(row[0]), row[1] or None, row[len(PLAIN_COLUMNS) :]
        if fault:
            yield DeliveredRow(line, cells, fault).plain(width, delimiter)
            continue
        for place, station in named.items():
            if cells[place].strip():
                turned = [*(cells[each] for each in kept), station, cells[place]]
                yield DeliveredRow(line, turned).plain(width, delimiter)


def ask_by_station(
    cells: Sequence[str], values: Values, vocabulary: Vocabulary
) -> TableRefused | None:
    """Return the question whether columns are stations; none where they do not look like it."""
    layout = _layout(cells, values, vocabulary)
    if layout is None:
        return None
    columns, more = shortened([cells[place] for place in layout.places], 4)
    lines = f'[headings.{layout.kind}]\n"{BY_STATION}" = "station"'
    return TableRefused.of(
        "station-columns", columns=columns, more=more, kind=layout.kind, lines=lines
    )


def _layout(cells: Sequence[str], values: Values, vocabulary: Vocabulary) -> _Turn | None:
    """Return which columns may be stations: of readings beside a channel, else beside a store."""
    for kind, form, value in ((READINGS, LEVEL, "level dBm"), ("stations", CHANNEL, "channel")):
        known = vocabulary.known(kind, cells)
        fields = {field for field in known.values() if not is_channel(field)}
        level = kind == READINGS
        if fields & {"station", "level"} or ("channel" in fields) is not level:
            continue
        free = [p for p, cell in enumerate(cells) if cell.strip() and p not in known]
        fitting = [p for p in free if looks_like(values[p], form) and not _is_mean(cells[p])]
        enough = len(fitting) >= _SPAN_LEAST and (level or (fitting == free and fields))
        if enough and len(fields) == len(known):
            return _Turn(kind, value, tuple(fitting))
    return None


def _is_mean(heading: str) -> bool:
    """Say whether a heading is of a mean or an extreme, not of a station."""
    words = set(fold(heading).split())
    return any(words & LESSER[each] for each in ("mean", "max", "min"))


def laid_out(path: Path, head: Head, vocabulary: Vocabulary, room: Path) -> Path:
    """Return a text of another layout as a table; any other as it is.

    That is, one table below another, each below lines such as `Store: S1`; nothing but such lines;
    or the fields one below another.
    """
    lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    joined = _blocks(lines) or _fields_down(lines, head, vocabulary) or _joined(lines, head)
    if joined is None:
        return path
    out = room / "laid out.csv"
    out.write_text("\n".join(joined) + "\n", encoding="utf-8")
    return out


def _blocks(lines: Sequence[str]) -> list[str] | None:
    """Return names and values, one a line, with the same name first in each block, as a table."""
    pairs = [named_line(line) for line in lines if line.strip()]
    if not pairs or not all(name for name, _ in pairs):
        return None
    rows: list[dict[str, str]] = []
    for name, value in pairs:
        if name == pairs[0][0]:
            rows.append({})
        rows[-1][name] = value
    names = list(rows[0])
    if len(rows) < _SPAN_LEAST or len(names) < _SPAN_LEAST or any(list(r) != names for r in rows):
        return None
    return ["\t".join(names), *("\t".join(row.values()) for row in rows)]


def _fields_down(lines: Sequence[str], head: Head, vocabulary: Vocabulary) -> list[str] | None:
    """Return a text whose first cells are the headings, of as many columns as stations, turned."""
    rows = [row for row in csv.reader(lines, delimiter=head.dialect.delimiter) if row]
    first = [row[0] for row in rows]
    score = vocabulary.score(first) if len(rows) <= _FIELDS_MOST else 0
    even = len({len(row) for row in rows}) == 1
    across = vocabulary.score(head.headings.cells)
    if not even or score < _DOWN_LEAST or score <= across:
        return None
    if across >= _SPAN_LEAST and isinstance(vocabulary.understand(first), TableRefused):
        return None  # neither is whole: lines such as `Store;S1` stand above a table
    marked = '"' in "".join(lines) or "\t" in "".join(lines)
    return None if marked else ["\t".join(each) for each in zip(*rows, strict=True)]


def _joined(lines: Sequence[str], head: Head) -> list[str] | None:
    """Return tables one below another as one, with what the lines between them say as columns."""
    top = lines[head.headings.line - 1] if head.headings.line else ""
    if not top.strip() or lines.count(top) < _SPAN_LEAST:
        return None
    said: dict[str, str] = {}
    delimiter = head.dialect.delimiter
    out: list[str] = []
    named = Counter(named_line(line, delimiter)[0] for line in lines)
    names = [name for name, times in named.items() if name and times >= _SPAN_LEAST]
    for number, line in enumerate(lines, start=1):
        name, value = named_line(line, delimiter)
        first = number == head.headings.line
        before = names if first else [said.get(each, "") for each in names]
        if name in names:
            said[name] = value
        if number < head.headings.line:
            out.append("" if name in names else line)
        else:
            filled = line.strip() and name not in names and (first or line != top)
            out.append(delimiter.join([*before, line]) if filled else "")
    return out if names else None


def named_line(line: str, delimiter: str = "\t") -> tuple[str, str]:
    """Return the name and value of a line such as `Store: S1`; nothing of any other."""
    bare = line.strip().rstrip(delimiter).strip()
    match = re.fullmatch(r"(\w[\w .#-]{0,30}?)\s*[:=]\s*(\S[^:=]*)", bare)
    return (match[1], match[2].strip()) if match and delimiter not in bare else ("", "")


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
