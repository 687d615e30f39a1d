"""Many edits of workbooks that came back: none taken wrongly, lost, or taken twice.

Each change of a register gets one edit, right or wrong in one way; what must become of it is
written down as the edit is made.
"""

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import pytest
from changes_book import TOP, Book, book_of
from changes_kit import BY, chain, names, plan_says, settings_in, speak_of

from pipeline.changes.decisions import decide
from pipeline.changes.register import propose
from pipeline.database import Database
from pipeline.forms import CHANGE, DECISION_WORDS, DECISIONS, RESULTS
from pipeline.settings import Settings

_PROPOSER = "R. Quellbach"
_OLD, _FOREIGN = "O", "F"  # a store whose plan was superseded, and one that gets another's sheet
_MOVES = {
    store: tuple((f"{store}-{n:02}", 11 + n % 4, 20 + n % 6, False) for n in range(1, 7))
    for store in ("A", "B", "C", _OLD, _FOREIGN)
}
_SLIPS: dict[str, dict[str, object]] = {
    "proposer": {"by": _PROPOSER},
    "stranger": {"by": "N. Obody"},
    "no day": {"date": None},
    "odd word": {"decision": "perhaps"},
}
_WORK = ("worked", "not approved", "done by nobody")
_NIGHT = datetime(2026, 10, 20, 23, 15)


@dataclass
class Asked:
    """Workbooks of one round, and what must become of them."""

    folder: Path
    database: Database
    roll: random.Random
    books: dict[str, Book] = field(default_factory=dict)
    taken: set[tuple[str, str, datetime, str]] = field(default_factory=set)
    repeated: int = 0
    refused: Counter[str] = field(default_factory=Counter)  # by workbook, at least so many
    kinds: Counter[str] = field(default_factory=Counter)

    def book(self, store: str, copy: str = "") -> Book:
        """Return a workbook of a store, made when first asked for."""
        name = f"{store}{copy}"
        if name not in self.books:
            self.books[name] = book_of(self.database, store, self.folder, name)
        return self.books[name]

    def draw(self) -> tuple[str, date]:
        """Return a decision and its day."""
        return self.roll.choice(DECISION_WORDS), date(2026, 10, self.roll.randint(1, 15))

    def wrong(self, kind: str, store: str, copy: str = "") -> None:
        """Expect a refusal."""
        self.kinds[kind] += 1
        self.refused[f"{store}{copy}"] += 1

    def right(self, kind: str, change: str, state: str, at: datetime, by: str = BY) -> None:
        """Expect an event."""
        self.kinds[kind] += 1
        self.taken.add((change, state, at, by))


def midnight(day: date) -> datetime:
    """Return the moment a day begins."""
    return datetime(day.year, day.month, day.day)


def edited(asked: Asked, store: str, change: str) -> None:
    """Make one edit of a change, of a kind by chance."""
    word, day = asked.draw()
    kind = asked.roll.choice([*_SLIPS, *_WORK, "right", "twice", "contradicted", "moved"])
    book = asked.book(store)
    if kind in _SLIPS:
        book.fill(DECISIONS, change, **{"decision": word, "by": BY, "date": day, **_SLIPS[kind]})
        asked.wrong(kind, store)
    elif kind in _WORK:
        _worked(asked, store, change, kind)
    elif kind == "contradicted":
        book.decide(change, "approved", day=day)
        other = asked.roll.choice(["refused", "deferred"])
        asked.book(store, " other").decide(change, other, day=day)
        asked.wrong(kind, store)
        asked.refused[f"{store} other"] += 1
    elif kind == "moved":
        book.decide(change, word, day=day).fill(DECISIONS, change, to=26)
        asked.wrong(kind, store)
    else:
        book.decide(change, word, day=day)
        asked.right(kind, change, word, midnight(day))
        if kind == "twice":
            asked.book(store, " again").decide(change, word, day=day)
            asked.repeated += 1


def _worked(asked: Asked, store: str, change: str, kind: str) -> None:
    """Report work: on an approved change, on one nobody approved, or by nobody."""
    _, day = asked.draw()
    by = None if kind == "done by nobody" else "night team"
    book = asked.book(store).fill(RESULTS, change, done_at=_NIGHT, outcome="done", by=by)
    if kind == "worked":
        book.decide(change, "approved", day=day)
        asked.right(kind, change, "approved", midnight(day))
        asked.taken.add((change, "implemented", _NIGHT, "night team"))
    else:
        asked.wrong(kind, store)


def old_plan(asked: Asked, settings: Settings) -> None:
    """Let a workbook of a plan come back after another took its place."""
    book = asked.book(_OLD)
    for change in names(asked.database, _OLD):
        book.decide(change, "approved")
        asked.kinds["old plan"] += 1
    asked.refused[_OLD] += 1  # said once of the workbook
    plan_says(asked.database, {**_MOVES, _OLD: _MOVES[_OLD][:1]})
    speak_of(asked.database, date(2026, 10, 1))
    propose(asked.database, settings)


def foreign_sheet(asked: Asked) -> None:
    """Put the decisions of another store's workbook into one's own."""
    book = asked.book(_FOREIGN)
    own = names(asked.database, _FOREIGN)
    others = names(asked.database, "A")
    sheet = book.sheet(DECISIONS)
    keys = [cell.value for cell in sheet[TOP - 2]]
    for mine, theirs in zip(own, others, strict=True):
        book.decide(mine, "approved")
        cell = book.place(DECISIONS, mine, CHANGE)
        sheet[cell] = theirs
        asked.wrong("another store's sheet", _FOREIGN)
    assert keys[0] == CHANGE


def one_round(folder: Path, seed: int) -> Counter[str]:
    """Edit every change of a register once; return how many edits of each kind there were."""
    folder.mkdir()
    settings = settings_in(folder)
    with chain(folder, _MOVES) as database:
        propose(database, settings)
        asked = Asked(folder / "back", database, random.Random(seed))
        asked.folder.mkdir()
        foreign_sheet(asked)
        for store in ("A", "B", "C"):
            for change in names(database, store):
                edited(asked, store, change)
        old_plan(asked, settings)
        for book in asked.books.values():
            book.saved()
        _judged(asked, settings)
    return asked.kinds


def _judged(asked: Asked, settings: Settings) -> None:
    first = decide(asked.database, settings, [asked.folder])
    assert _entered(asked.database) == asked.taken
    assert sum(one.decisions + one.results for one in first) == len(asked.taken)
    assert sum(one.repeated for one in first) == asked.repeated
    told = {Path(one.workbook).stem: len(one.refusals) for one in first}
    assert {name: count for name, count in told.items() if count} == dict(asked.refused)

    again = decide(asked.database, settings, [asked.folder])
    assert _entered(asked.database) == asked.taken
    assert sum(one.decisions + one.results for one in again) == 0


def _entered(database: Database) -> set[tuple[str, str, datetime, str]]:
    """Return what people entered, each once."""
    rows = database.connection.execute(
        'select change, state, "at", "by" from change_event where state not in (?, ?)',
        ["proposed", "lapsed"],
    ).fetchall()
    assert len(rows) == len(set(rows))
    return set(rows)


@pytest.mark.parametrize("rounds", [2, pytest.param(34, marks=pytest.mark.slow)])
def test_no_edit_is_taken_wrongly_or_lost_or_taken_twice(rounds: int, tmp_path: Path) -> None:
    """Sixty edits by default, a thousand in the long run."""
    kinds: Counter[str] = Counter()
    for seed in range(rounds):
        kinds += one_round(tmp_path / str(seed), seed)
    assert kinds.total() == 30 * rounds
