"""Which of our fields a heading of the outside world stands for. The map is data."""

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType

from pipeline.errors import HeadingFieldUnknown

_TABLE = Path(__file__).resolve().parent / "headings.csv"
_WIDE = re.compile(r"(?:ed|ch|channel|kanal|kan|c|ed ch|ed channel|ed kanal)? ?(\d\d)( dbm)?")
CHANNELS = range(11, 27)
# Headings that the sheets of quarantined rows add to those of the file they came in.
MENDED_FIELDS: Mapping[str, str] = MappingProxyType(
    {
        "quarantined file": "from_file",
        "quarantined line": "from_line",
        "quarantined content": "from_content",
    }
)
# What these sheets say beside each row, and what they keep of rows that were too long.
_MENDED_NOTES = ("reason", "what to do", "beyond the headings")
_WIDE_LEAST = 2  # columns that make a wide scan
_MAPPED_LEAST = 2  # headings known to us that make a row of headings


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a delivered table: our field, or `other N`, and its own heading."""

    field: str
    heading: str


@dataclass(frozen=True, slots=True)
class Mapped:
    """A row of headings understood: its kind and its columns in the file's order."""

    kind: str
    wide: bool
    columns: tuple[Column, ...]
    dbm_by_heading: bool

    @property
    def left_aside(self) -> str:
        """The headings that stand for no field, as words for the record of decisions."""
        mended = any(column.field in MENDED_FIELDS.values() for column in self.columns)
        unknown = [
            column.heading.replace(";", ",")  # which parts one decision from the next
            for place, column in enumerate(self.columns, start=1)
            if column.field == f"other {place}"
            and column.heading != f"column {place}"
            and not (mended and fold(column.heading) in _MENDED_NOTES)
        ]
        return f"headings left aside: {_listed(unknown)}" if unknown else ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a table cannot be taken as a whole, and what to do: one sentence each."""

    reason: str
    advice: str


@lru_cache(maxsize=4096)
def fold(heading: str) -> str:
    """Return a heading as it is compared: lower case, one blank for any run of `_-.[]()` blanks."""
    return re.sub(r"[\s_\-.\[\]()\u00a0\ufeff]+", " ", heading.casefold()).strip()


def _refuse_unknown(kind: str, own: Mapping[str, str], known: Sequence[str]) -> None:
    channels = tuple(f"c{channel}" for channel in CHANNELS) if kind == "ed_readings" else ()
    for heading, field in own.items():
        if field not in (*known, *channels):
            raise HeadingFieldUnknown(kind, heading, field, known)


def is_quarantine_overview(cells: Sequence[str]) -> bool:
    """Whether a row of headings is that of the program's own list of what is in quarantine."""
    folded = {fold(cell) for cell in cells}
    return {"quarantined file", "quarantined line"} <= folded and (
        "quarantined content" not in folded
    )


@cache
def _shipped() -> tuple[tuple[str, str, str, str], ...]:
    with _TABLE.open(encoding="utf-8", newline="") as file:
        return tuple(
            (
                row["kind"],
                row["field"] if "field" in row else row["name"],
                row["required"],
                fold(row["heading"]),
            )
            for row in csv.DictReader(file)
        )


class Vocabulary:
    """The headings known for every kind: the shipped table and the user's own over it.

    Raises:
        HeadingFieldUnknown: an own heading stands for a field its kind does not have.
    """

    def __init__(self, own: Mapping[str, Mapping[str, str]]) -> None:
        fields: dict[str, dict[str, str]] = {}
        required: dict[str, dict[str, str]] = {}
        for kind, field, need, heading in _shipped():
            fields.setdefault(kind, {})[heading] = field
            required.setdefault(kind, {})[field] = need
        for kind, table in own.items():
            _refuse_unknown(kind, table, tuple(required[kind]))
            fields.setdefault(kind, {}).update({fold(k): v for k, v in table.items()})
        self.fields: Mapping[str, Mapping[str, str]] = MappingProxyType(fields)
        self.required: Mapping[str, Mapping[str, str]] = MappingProxyType(required)

    def score(self, cells: Sequence[str]) -> int:
        """Return how many of the cells are headings of the kind that knows most of them."""
        return max(_weight(_known(self.fields[kind], kind, cells)) for kind in self.fields)

    def is_headings(self, cells: Sequence[str]) -> bool:
        """Return whether a row looks like headings of ours."""
        return self.score(cells) >= _MAPPED_LEAST

    def understand(self, cells: Sequence[str]) -> Mapped | Refusal:
        """Return what a row of headings means, or why it cannot be taken."""
        counts = {k: _weight(_known(self.fields[k], k, cells)) for k in self.fields}
        best = max(counts.values())
        if best < _MAPPED_LEAST:
            return self._unknown(cells)
        kinds = [kind for kind in self.fields if counts[kind] == best]
        complete = [kind for kind in kinds if not self._missing(kind, cells)]
        if len(complete) > 1:
            return Refusal(
                f"The headings fit more than one kind of export ({', '.join(complete)}): "
                f"{_listed(cells)}.",
                "Which kind is it? Name its columns as `quietaisle template` does.",
            )
        if not complete:
            return self._lacking(kinds[0], cells)
        return self._mapped(complete[0], cells)

    def _mapped(self, kind: str, cells: Sequence[str]) -> Mapped | Refusal:
        known = _known(self.fields[kind], kind, cells)
        known |= {
            i: MENDED_FIELDS[h] for i, c in enumerate(cells) if (h := fold(c)) in MENDED_FIELDS
        }
        twice = sorted({f for f in known.values() if list(known.values()).count(f) > 1})
        if twice:
            both = [cells[i] for i, field in known.items() if field == twice[0]]
            return Refusal(
                f"The columns {_listed(both)} all stand for '{twice[0]}'.",
                "Which one is right? Take the other out, or rename it.",
            )
        fields = set(known.values())
        wide = kind == "ed_readings" and not {"channel", "level"} <= fields
        if kind == "ed_readings" and not wide and any(f[1:].isdigit() for f in fields):
            return Refusal(
                "The headings have a column per channel as well as 'channel' and 'level'.",
                "Which of the two holds the readings? Take the other out.",
            )
        names = _unique(cells)
        columns = tuple(Column(known.get(i, f"other {i + 1}"), names[i]) for i in range(len(cells)))
        dbm = [fold(cells[i]).endswith("dbm") for i, f in known.items() if _is_level(f)]
        return Mapped(kind, wide, columns, bool(dbm) and all(dbm))

    def _missing(self, kind: str, cells: Sequence[str]) -> list[str]:
        fields = set(_known(self.fields[kind], kind, cells).values())
        missing = [f for f, n in self.required[kind].items() if n == "yes" and f not in fields]
        if kind == "ed_readings":
            wide = sum(field[1:].isdigit() for field in fields) >= _WIDE_LEAST
            long = [f for f, n in self.required[kind].items() if n == "long" and f not in fields]
            missing += [] if wide else long
        return missing

    def _lacking(self, kind: str, cells: Sequence[str]) -> Refusal:
        missing = self._missing(kind, cells)
        known = _known(self.fields[kind], kind, cells)
        unknown = [cells[i] for i in range(len(cells)) if i not in known and cells[i].strip()]
        near = ""
        for field in missing:
            names = [h for h, f in self.fields[kind].items() if f == field]
            close = [c for c in unknown if get_close_matches(fold(c), names, n=1, cutoff=0.5)]
            if close:
                near = f" Is '{close[0]}' the column for '{field}'?"
                break
        expected = [
            next(h for h, f in self.fields[kind].items() if f == name)
            for name, need in self.required[kind].items()
            if need != "no"
        ]
        return Refusal(
            f"It looks like an export of {kind}, but no column stands for "
            f"{_listed(missing)}. Found: {_listed(cells)}. Needed: {_listed(expected)}.{near}",
            f"Rename the column, or map its heading under [headings.{kind}] in the rules file.",
        )

    def _unknown(self, cells: Sequence[str]) -> Refusal:
        needs = "; ".join(
            f"{kind}: " + ", ".join(f for f, n in self.required[kind].items() if n == "yes")
            for kind in self.fields
        )
        every = sorted({h for table in self.fields.values() for h in table})
        near = ""
        for cell in (cell for cell in cells if fold(cell) not in every):
            close = get_close_matches(fold(cell)[:80], every, n=1, cutoff=0.75)
            if close:
                near = f" The nearest match is '{cell.strip()}' for '{close[0]}'."
                break
        return Refusal(
            f"No row of headings of any kind was found. Found: {_listed(cells)}. "
            f"Needed: {needs}.{near}",
            "Name the columns as `quietaisle template` does, or map them under [headings] "
            "in the rules file.",
        )


def _known(fields: Mapping[str, str], kind: str, cells: Sequence[str]) -> dict[int, str]:
    known = {}
    for place, cell in enumerate(cells):
        folded = fold(cell) if len(cell) <= 80 else ""  # noqa: PLR2004 - no heading is longer
        if folded in fields:
            known[place] = fields[folded]
        elif kind == "ed_readings" and (channel := _channel(folded)):
            known[place] = f"c{channel}"
    return known


def _channel(folded: str) -> int | None:
    match = _WIDE.fullmatch(folded)
    return int(match[1]) if match and int(match[1]) in CHANNELS else None


def _weight(known: Mapping[int, str]) -> int:
    """Return how many fields are known.

    Channel columns count once together: bare numbers stand in rows of data too.
    """
    fields = set(known.values())
    channels = {field for field in fields if field[1:].isdigit()}
    return len(fields - channels) + (len(channels) >= _WIDE_LEAST)


def _is_level(field: str) -> bool:
    return field == "level" or (field[0] == "c" and field[1:].isdigit())


def _unique(cells: Sequence[str]) -> list[str]:
    names: list[str] = []
    for place, cell in enumerate(cells):
        name = cell.strip() or f"column {place + 1}"
        names.append(name if name not in names else f"{name} ({place + 1})")
    return names


def _listed(cells: Sequence[str], most: int = 30) -> str:
    shown = [f"'{' '.join(cell.split())[:60]}'" for cell in cells if cell.strip()]
    more = f" and {len(shown) - most} more" if len(shown) > most else ""
    return (", ".join(shown[:most]) or "nothing") + more
