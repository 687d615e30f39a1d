"""Read tables of JSON, JSON Lines and Parquet as rows of texts, every value as it was written.

A JSON file is a list of objects, or an object with such lists beside plain values, which count as
lines above the headings; where each object holds such a list, its members are the rows. An object
inside an object gives its values headings of both keys; a list of plain values is one cell of them.
Read as lists of objects are also lists of lists below one of headings, lists of equal length by
heading, objects of one form by key, and pairs of a channel and a level.
Sources: RFC 8259 (JSON); JSON Lines, one value a line, has no published standard.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any, TypeGuard

import polars as pl

from pipeline.ingest.delimited import (
    LINE_LIMIT,
    MOST_COLUMNS,
    DeliveredRow,
    Head,
    TableUnreadable,
    TextDialect,
)
from pipeline.ingest.foreign import cell_text

FORMS = (".json", ".jsonl", ".ndjson", ".parquet")
_OCTETS_MOST = 256 << 20  # of JSON, which is read whole
_DIALECT = TextDialect("\t", '"', '"')
_BATCH = 10_000
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
Pairs = list[tuple[str, object]]


class ObjectsUnreadable(TableUnreadable):
    """A file holds no objects that make a table."""


@dataclass(frozen=True, slots=True)
class ObjectTable:
    """A table of objects: the name of its list, where it has one, its head, and its rows."""

    name: str | None
    head: Head
    rows: Iterable[DeliveredRow]

    def lines(self) -> Iterator[str]:
        """Yield the rows as plain lines; values under keys that come twice are cells too many."""
        width = len(self.head.headings.cells)
        for row in self.rows:
            if not row.is_blank:
                yield row.plain(width, self.head.dialect.delimiter)


class _Pairs(list[tuple[str, object]]):
    """An object as it was written: its keys in order, those that come twice too."""


def read_objects(path: Path, suffix: str) -> tuple[ObjectTable, ...]:
    """Return the tables of a file.

    Raises:
        ObjectsUnreadable: it is damaged, too large, or holds no objects.
    """
    if suffix == ".parquet":
        return (_parquet(path),)
    if path.stat().st_size > _OCTETS_MOST:
        raise ObjectsUnreadable("objects-large")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise ObjectsUnreadable("objects-encoding") from error
    if suffix == ".json":
        return tuple(_tables(_as_rows("", _parsed(text, 0))))
    lines = enumerate(text.splitlines(), start=1)
    objects = [(n, _parsed(line, n)) for n, line in lines if line.strip()]
    opened = [(n, row) for n, each in objects for row in _opened([_as_rows("", each)])]
    return (_table(None, (), opened),)


def _parsed(text: str, line: int) -> object:
    try:
        return json.loads(
            text,
            object_pairs_hook=_Pairs,
            parse_float=str,
            parse_int=str,
            parse_constant=str,
        )
    except (ValueError, RecursionError) as error:
        why = str(error) if isinstance(error, ValueError) else "it is nested too deeply"
        raise ObjectsUnreadable("objects-invalid", line=line, why=why[:200]) from error


def _as_rows(name: str, value: object) -> object:
    """Return a value with the tables in it as lists of objects, in whatever form they stand.

    `name` is the key that it stands under.
    """
    if isinstance(value, _Pairs):
        inner = _Pairs((key, _as_rows(key, each)) for key, each in value)
        lifted = _Pairs(p for k, v in inner for p in (v if _holds_rows(v) else [(k, v)]))
        return _of_columns(lifted) or _of_keys(name, lifted) or lifted
    if not isinstance(value, list):
        return value
    if len(value) > 1 and all(_is_plain_list(each) for each in value):
        pairs = [_Pairs((("channel", each[0]), ("level dBm", each[1]))) for each in value
                 if len(each) == 2 and _is_pair(each)]  # fmt: skip  # noqa: PLR2004
        if len(pairs) == len(value):
            return pairs
        return _of_rows(value[0], value[1:]) or value
    return [_as_rows(name, each) for each in value]


def _holds_rows(value: object) -> TypeGuard[_Pairs]:
    return isinstance(value, _Pairs) and any(_is_rows(each) for _, each in value)


def _is_plain_list(value: object) -> bool:
    return (
        isinstance(value, list)
        and not isinstance(value, _Pairs)
        and not any(isinstance(each, list) for each in value)
    )


def _is_pair(value: Sequence[object]) -> bool:
    """Say whether two values are a channel of IEEE 802.15.4 and a level below 0 dBm."""
    channel, level = map(cell_text, value)
    return bool(re.fullmatch(r"1[1-9]|2[0-6]", channel) and re.fullmatch(r"-\d+(\.\d+)?", level))


def _of_rows(headings: Sequence[object], rows: Sequence[Any]) -> list[_Pairs] | None:
    """Return rows below a list of headings as objects; none where they have another form."""
    texts = [each for each in headings if isinstance(each, str) and not _NUMBER.fullmatch(each)]
    if len(texts) < max(2, len(headings)) or {len(row) for row in rows} != {len(headings)}:
        return None
    return [_Pairs(zip(texts, row, strict=True)) for row in rows]


def _of_columns(value: _Pairs) -> object:
    """Return a list of headings beside one of rows, or lists by heading, as objects; or none."""
    lists = [each for _, each in value if isinstance(each, list) and each]
    if len(lists) == 2 and _is_plain_list(lists[0]) and all(map(_is_plain_list, lists[1])):  # noqa: PLR2004
        rows = _of_rows(lists[0], lists[1])
        beside = [pair for pair in value if not isinstance(pair[1], list)]
        return rows and _Pairs([*beside, ("rows", rows)])
    lengths = {len(each) for each in lists if _is_plain_list(each)}
    if len(value) < 2 or len(lists) < len(value) or len(lengths) != 1:  # noqa: PLR2004
        return None
    if not all(map(_is_plain_list, lists)):
        return None
    return _of_rows([key for key, _ in value], list(zip(*lists, strict=True)))


def _of_keys(name: str, value: _Pairs) -> object:
    """Return objects of one form by key as a list of objects with their key; or none."""
    forms = {tuple(k for k, _ in each) for _, each in value if isinstance(each, _Pairs)}
    if not name or len(value) < 2 or len(forms) != 1:  # noqa: PLR2004 - one alone is no list
        return None
    if not all(isinstance(each, _Pairs) for _, each in value):
        return None
    heading = name.removesuffix("s")
    return [_Pairs([(heading, key), *each]) for key, each in value if isinstance(each, _Pairs)]


def _tables(value: object) -> Iterator[ObjectTable]:
    if isinstance(value, _Pairs) and any(_is_rows(each) for _, each in value):
        plain = [(key, each) for key, each in value if not isinstance(each, list)]
        titles = [DeliveredRow(0, [key, cell_text(each)]) for key, each in plain]
        for key, each in value:
            if _is_rows(each):
                yield _table(key, titles, list(enumerate(_opened(each), start=1)))
    elif _is_rows(value):
        yield _table(None, (), list(enumerate(_opened(value), start=1)))
    elif isinstance(value, _Pairs) and value:
        yield _table(None, (), [(1, value)])
    else:
        raise ObjectsUnreadable("objects-none")


def _opened(rows: object) -> Sequence[object]:
    """Return a list of objects; where each holds one list of such, these with what is beside it."""
    assert isinstance(rows, list)  # noqa: S101 - as asked
    inner = {key for row in rows if isinstance(row, _Pairs) for key, v in row if _is_rows(v)}
    if len(inner) != 1 or not all(isinstance(row, _Pairs) for row in rows):
        return rows
    return [
        _Pairs([*(pair for pair in row if pair[0] not in inner), *each])
        for row in rows
        for key, value in row
        if key in inner and isinstance(value, list)
        for each in value
        if isinstance(each, _Pairs)
    ]


def _is_rows(value: object) -> bool:
    return (
        isinstance(value, list)
        and not isinstance(value, _Pairs)
        and bool(value)
        and any(isinstance(each, _Pairs) for each in value)
    )


def _table(
    name: str | None, titles: Sequence[DeliveredRow], objects: Sequence[tuple[int, object]]
) -> ObjectTable:
    """Return the table of some objects: a heading for every key that any of them has."""
    flat = [(number, list(_flat(each))) for number, each in objects]
    headings = list(dict.fromkeys(key for _, pairs in flat for key, _ in pairs))[:MOST_COLUMNS]
    if not headings:
        raise ObjectsUnreadable("objects-none")
    head = Head(_DIALECT, tuple(titles), DeliveredRow(0, headings), 1)
    return ObjectTable(name, head, [_row(number, pairs, headings) for number, pairs in flat])


def _flat(value: object, before: str = "") -> Iterator[tuple[str, str]]:
    """Yield the cells of an object with their headings."""
    if not isinstance(value, _Pairs):
        yield before or "value", _cell(value)
        return
    for key, each in value:
        heading = _valid(f"{before} {key}" if before else key)
        if isinstance(each, _Pairs):
            yield from _flat(each, heading)
        else:
            yield heading, _cell(each)


def _cell(value: object) -> str:
    """Return a value as text; a list of plain values as these with a blank between."""
    if isinstance(value, list) and not any(isinstance(each, list) for each in value):
        return _valid(" ".join(map(cell_text, value)))
    written = json.dumps(value, ensure_ascii=False) if isinstance(value, list) else cell_text(value)
    return _valid(written)


def _valid(text: str) -> str:
    """Return a text with a question mark for half of a surrogate pair, which JSON may escape."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _row(number: int, pairs: Sequence[tuple[str, str]], headings: Sequence[str]) -> DeliveredRow:
    cells: dict[str, str] = {}
    twice: list[str] = []
    for key, text in pairs:
        if key in cells or key not in headings:
            twice.append(text)
        else:
            cells[key] = text
    row = [*(cells.get(heading, "") for heading in headings), *twice]
    if sum(map(len, row)) > LINE_LIMIT:
        return DeliveredRow(number, [row[0][:200]], "line-too-long")
    return DeliveredRow(number, row, "row-too-long" if twice else None)


def _parquet(path: Path) -> ObjectTable:
    with _sound():
        headings = pl.scan_parquet(path).collect_schema().names()
    if not 0 < len(headings) <= MOST_COLUMNS:
        raise ObjectsUnreadable("objects-columns", columns=len(headings))
    head = Head(_DIALECT, (), DeliveredRow(0, headings), 1)
    return ObjectTable(None, head, _ParquetRows(path))


@dataclass(frozen=True, slots=True)
class _ParquetRows:
    """The rows of a Parquet file, read anew each time, a few thousand at once."""

    path: Path

    def __iter__(self) -> Iterator[DeliveredRow]:
        """Yield the rows; the first is 1."""
        for start in count(0, _BATCH):
            with _sound():
                rows = pl.scan_parquet(self.path).slice(start, _BATCH).collect().rows()
            for number, row in enumerate(rows, start=start + 1):
                yield DeliveredRow(number, [_cell(_plain(value)) for value in row])
            if len(rows) < _BATCH:
                return


@contextmanager
def _sound() -> Iterator[None]:
    """Turn what the library raises over a damaged file into ObjectsUnreadable."""
    try:
        yield
    except (pl.exceptions.PolarsError, OSError) as error:
        raise ObjectsUnreadable("file-damaged", why=str(error)[:200]) from error


def _plain(value: Any) -> object:  # noqa: ANN401 - whatever a column holds
    """Return a value of a nested column as JSON has it."""
    if isinstance(value, Mapping):
        return json.dumps(value, ensure_ascii=False, default=str)
    return value
