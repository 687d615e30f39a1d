"""Loaded cells hold what stands in the file, as a reader that shares no code with ingest says.

The reader is the state machine of `physical_records` and the small parsers below. Mutated files are
full of cells on the edge, so it says two things of each record: the row that must be loaded where
every cell is in its plainest form, and the row that is the only one allowed where one is not.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from ingest_kit import put, take
from physical_records import lines_of, records_of

BLANKS = " \t\r\n\u00a0\u202f"
LETTERS = ('"', "\n", ",", "x", "\r\n", '""', '"\n', " ", "'", "-", ".", "0", "9", "\t", "\u00a0")
READINGS = "store,station,scanned at,channel,level dbm\n"
LABELS = "store,label,station,level dbm,success %,exported on\n"
CODES = (-128, 0)  # what radios put in place of a level
Row = tuple[object, ...]
Cells = list[str]


def text(cell: str) -> str | None:
    """Return a text without blanks around it."""
    return cell.strip(BLANKS) or None


def number(cell: str) -> float | None:
    """Return a number with a decimal point."""
    bare = cell.strip(BLANKS).removesuffix("%").strip(BLANKS)
    return float(bare) if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)", bare) else None


def within(value: float | None, least: float, most: float, *codes: float) -> float | None:
    """Return a number that can be one; what cannot is not known, and its row stands."""
    return value if value is not None and least <= value <= most and value not in codes else None


def day(cell: str) -> date | None:
    """Return a day, year first."""
    match = re.fullmatch(
        r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{4})(\d\d)(\d\d)", cell.strip(BLANKS)
    )
    try:
        return date(*(int(part) for part in match.groups() if part)) if match else None
    except ValueError:
        return None


def moment(cell: str) -> datetime | None:
    """Return a moment, year first; in UTC where an offset follows it."""
    match = re.fullmatch(
        r"\s*([\d./-]+)[\sT]+(\d{1,2}):(\d{1,2})(?::(\d{1,2}))?\s*(?:Z|([+-])(\d\d):?(\d\d)?)?\s*",
        cell,
    )
    found = day(match[1]) if match else None
    if match is None or found is None:
        return None
    try:
        at = datetime(
            found.year, found.month, found.day, int(match[2]), int(match[3]), int(match[4] or 0)
        )
    except ValueError:
        return None
    east = timedelta(hours=int(match[6] or 0), minutes=int(match[7] or 0))
    return at + east if match[5] == "-" else at - east


def reading(cells: Cells) -> Row:
    """Return a reading as the database has it: null where a cell says nothing."""
    store, station, scanned_at, channel, level = cells
    whole = number(channel)
    return (
        text(store),
        text(station),
        moment(scanned_at),
        int(whole) if whole is not None and whole == int(whole) else None,
        number(level),
    )


def label(cells: Cells) -> Row:
    """Return a label as the database has it."""
    store, key, station, level, success, seen_on = cells
    return (
        text(store),
        text(key),
        day(seen_on),
        text(station),
        within(number(level), -130, 0, *CODES),
        within(number(success), 0, 100),
    )


PLAIN_READING = re.compile(
    r"\w+,[\w-]+,2026-09-29 (?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d,"
    r"(?:1[1-9]|2[0-6]),-(?!128)(?:[1-9]\d|1[0-2]\d)"
)
PLAIN_LABEL = re.compile(
    r"\w+,\w+,[\w-]+,-(?:[1-9]\d|1[0-2]\d),(?:[1-9]?\d|100),2026-09-(?:0[1-9]|[12]\d|30)"
)


def lines_for(headings: str, name: str, random: Random) -> Iterator[str]:
    """Yield the rows of a sound file whose stores no other file has."""
    for place in range(random.randint(3, 12)):
        station, level = f"{name}-{place % 3}", random.randint(-120, -10)
        if headings == READINGS:
            yield f"{name},{station},2026-09-29 03:{place:02}:00,{11 + place % 16},{level}\n"
        else:
            yield f"{name},L{place},{station},{level},{random.randint(0, 100)},2026-09-30\n"


def mutated(body: str, random: Random) -> str:
    """Return a text with a few letters put in, taken out or replaced."""
    for _ in range(random.randint(1, 5)):
        at, kind = random.randrange(len(body)), random.randrange(3)
        body = body[:at] + (random.choice(LETTERS) if kind else "") + body[at + (kind != 1) :]
    return body


def check(folder: Path, first: int, count: int) -> None:
    """Mutate files and hold every loaded row against the reader."""
    files: dict[str, str] = {}
    for at in range(first, first + count):
        random = Random(at)
        headings = random.choice((READINGS, LABELS))
        files[f"{at}.csv"] = headings + mutated(
            "".join(lines_for(headings, f"F{at}", random)), random
        )
    result = take(put(folder, files))
    refused = {outcome.file for outcome in result.outcomes if outcome.refused}
    sound = {name: body for name, body in files.items() if name not in refused}
    assert len(refused) <= count // 10  # where a mutation leaves the notation open

    loaded = Counter({(*row[:3], row[4], row[5]): row[9] for row in result.tables["ed_reading"]})
    held(loaded, sound, READINGS, reading, PLAIN_READING)
    rows = Counter([(*row[:5], row[6]) for row in result.tables["label_seen"]])
    held(rows, sound, LABELS, label, PLAIN_LABEL)


def held(
    loaded: Counter[Row],
    files: dict[str, str],
    headings: str,
    parsed: Callable[[Cells], Row],
    plain: re.Pattern[str],
) -> None:
    """Hold that plain records are loaded, and that nothing is loaded but what records say."""
    must: set[Row] = set()
    may: set[Row] = set()
    width = headings.count(",") + 1
    for body in files.values():
        if not body.startswith(headings):
            continue
        lines = lines_of(body)[1:]
        for at, cells in records_of(lines, ",", width):
            # An empty cell too many, at the end of a file, changes nothing.
            if cells is not None and len(cells) >= width and not any(cells[width:]):
                may.add(parsed(cells[:width]))
                if plain.fullmatch(lines[at].rstrip("\r\n")):
                    must.add(parsed(cells))
    assert set(loaded) - may == set(), "loaded, and no record says so"
    assert must - set(loaded) == set(), "plain, and not loaded"


def test_cells_of_mutated_files_are_what_stands_there(tmp_path: Path) -> None:
    """15 files here, 500 in the slow run."""
    check(tmp_path, 0, 15)


@pytest.mark.slow
def test_cells_of_500_mutated_files_are_what_stands_there(tmp_path: Path) -> None:
    """500 more."""
    check(tmp_path, 10_000, 500)
