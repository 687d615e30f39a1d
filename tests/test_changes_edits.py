"""Many edits of workbooks that came back: none taken wrongly, lost, or taken twice.

Each change of a register, or each two that need one another, gets one edit, right or wrong in one
way; what must become of it is written down as the edit is made.
"""

import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from changes_book import TOP, Book, book_of
from changes_kit import BY, chain, group_up, names, plan_says, settings_in, speak_of

from pipeline.changes.decisions import decide
from pipeline.changes.register import propose
from pipeline.database import Database
from pipeline.forms import ANOTHER, CHANGE, DECISIONS, RESULTS
from pipeline.settings import Settings

_PROPOSER = "R. Quellbach"
_OLD, _FOREIGN = "O", "F"  # a store whose plan was superseded, and one that gets another's sheet
_PAIRED = "P"  # a store whose changes need one another, two by two
_MOVES = {
    store: tuple((f"{store}-{n:02}", 11 + n % 4, 20 + n % 6, False) for n in range(1, 7))
    for store in ("A", "B", "C", _OLD, _FOREIGN, _PAIRED)
}
_FREE = 26  # permitted, and no change leads to it
_DAY = date(2026, 10, 15)
_SLIPS: dict[str, dict[str, object]] = {
    "proposer": {"by": _PROPOSER},
    "stranger": {"by": "N. Obody"},
    "no day": {"date": None},
    "odd word": {"decision": "perhaps"},
    "channel with a plain word": {"decision": "approved", "other": _FREE},
    "another channel unnamed": {"decision": ANOTHER},
    "channel not permitted": {"decision": ANOTHER, "other": 18},
    "no channel at all": {"decision": ANOTHER, "other": "the quiet one"},
    "end of an approval": {"decision": "approved", "until": date(2027, 3, 1)},
    "end before its refusal": {"decision": "refused", "until": date(2026, 9, 30)},
}
_WORK = ("worked", "not approved", "done by nobody")
_RIGHT = ("right", "right", "ordered", "ordered", "refused until", "twice")
_NIGHT = datetime(2026, 10, 20, 23, 15)
_STATES = ("approved", "refused", "deferred")

Event = tuple[str, str, datetime, str, int | None, date | None]
"""What is entered: change, state, when, by whom, other channel, end of a refusal."""


@dataclass
class Asked:
    """Workbooks of one round, and what must become of them."""

    folder: Path
    database: Database
    roll: random.Random
    books: dict[str, Book] = field(default_factory=dict)
    taken: set[Event] = field(default_factory=set)
    repeated: int = 0
    refused: Counter[str] = field(default_factory=Counter)  # by workbook
    kinds: Counter[str] = field(default_factory=Counter)

    def book(self, store: str, copy: str = "") -> Book:
        """Return a workbook of a store, made when first asked for."""
        name = f"{store}{copy}"
        if name not in self.books:
            self.books[name] = book_of(self.database, store, self.folder, name)
        return self.books[name]

    def draw(self) -> tuple[str, date]:
        """Return a decision and its day."""
        return self.roll.choice(_STATES), date(2026, 10, self.roll.randint(1, 15))

    def wrong(self, kind: str, store: str, copy: str = "", count: int = 1) -> None:
        """Expect refusals."""
        self.kinds[kind] += count
        self.refused[f"{store}{copy}"] += count

    def right(
        self,
        kind: str,
        change: str,
        state: str,
        day: date,
        *,
        channel: int | None = None,
        until: date | None = None,
    ) -> None:
        """Expect an event."""
        self.kinds[kind] += 1
        self.taken.add((change, state, midnight(day), BY, channel, until))


def midnight(day: date) -> datetime:
    """Return the moment a day begins."""
    return datetime(day.year, day.month, day.day)


def edited(asked: Asked, store: str, change: str) -> None:
    """Make one edit of a change, of a kind by chance."""
    word, day = asked.draw()
    kind = asked.roll.choice([*_SLIPS, *_WORK, *_RIGHT, "contradicted", "channels", "moved"])
    book = asked.book(store)
    if kind in _SLIPS:
        book.fill(DECISIONS, change, **{"decision": word, "by": BY, "date": day, **_SLIPS[kind]})
        asked.wrong(kind, store)
    elif kind in _WORK:
        _worked(asked, store, change, kind)
    elif kind in {"contradicted", "channels"}:
        _contradicted(asked, store, change, kind)
    elif kind == "moved":
        book.decide(change, word, day=day).fill(DECISIONS, change, to=26)
        asked.wrong(kind, store)
    elif kind in _RIGHT:
        _decided(asked, store, change, kind)


def _decided(asked: Asked, store: str, change: str, kind: str) -> None:
    """Decide as one may: plainly, with another channel, with an end; perhaps in two workbooks."""
    word, day = asked.draw()
    more: dict[str, object] = {}
    if kind == "ordered" or (kind == "twice" and word == "approved"):
        more = {"decision": ANOTHER, "other": _FREE}
        asked.right(kind, change, "approved", day, channel=_FREE)
    elif kind == "refused until":
        until = day + timedelta(days=asked.roll.randint(1, 400))
        more = {"decision": "refused", "until": until}
        asked.right(kind, change, "refused", day, until=until)
    else:
        asked.right(kind, change, word, day)
    for copy in ("", " again")[: 1 + (kind == "twice")]:
        asked.book(store, copy).decide(change, word, day=day).fill(DECISIONS, change, **more)
    asked.repeated += kind == "twice"


def _contradicted(asked: Asked, store: str, change: str, kind: str) -> None:
    """Let another workbook say something else: another word, or another channel."""
    _, day = asked.draw()
    one, other = asked.book(store), asked.book(store, " other")
    one.decide(change, "approved", day=day)
    other.decide(change, asked.roll.choice(["refused", "deferred"]), day=day)
    if kind == "channels":
        other.fill(DECISIONS, change, decision=ANOTHER, other=_FREE)
    asked.wrong(kind, store)
    asked.refused[f"{store} other"] += 1


def _worked(asked: Asked, store: str, change: str, kind: str) -> None:
    """Report work: on an approved change, on one nobody approved, or by nobody."""
    _, day = asked.draw()
    by = None if kind == "done by nobody" else "night team"
    book = asked.book(store).fill(RESULTS, change, done_at=_NIGHT, outcome="done", by=by)
    if kind == "worked":
        book.decide(change, "approved", day=day)
        asked.right(kind, change, "approved", day)
        asked.taken.add((change, "implemented", _NIGHT, "night team", None, None))
    else:
        asked.wrong(kind, store)


def paired(asked: Asked, one: str, other: str) -> None:
    """Decide two changes that need one another: alike, on purpose not alike, or wrongly."""
    kind = asked.roll.choice(["alike", "parted", "half", "split", "half split", "half wrong"])
    book, day = asked.book(_PAIRED), _DAY
    word = asked.roll.choice(_STATES)
    second = word if kind in {"alike", "half wrong"} else asked.roll.choice(
        [state for state in _STATES if state != word]
    )  # fmt: skip
    note = "Split: the store asked for it" if "split" in kind else ""
    book.decide(one, word, day=day, note=note)
    if "half" not in kind or kind == "half wrong":
        by = "N. Obody" if kind == "half wrong" else BY
        book.decide(other, second, by=by, day=day)
    if kind in {"alike", "split", "half split"}:
        asked.right(kind, one, word, day)
        if kind == "half split":
            asked.kinds[kind] += 1
        else:
            asked.right(kind, other, second, day)
    else:
        asked.wrong(kind, _PAIRED, count=2)
        asked.refused[_PAIRED] -= kind == "half"


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
        group_up(database, {f"{_PAIRED}-{n:02}": (n + 1) // 2 for n in range(1, 7)})
        propose(database, settings)
        asked = Asked(folder / "back", database, random.Random(seed))
        asked.folder.mkdir()
        foreign_sheet(asked)
        for store in ("A", "B", "C"):
            for change in names(database, store):
                edited(asked, store, change)
        pairs = names(database, _PAIRED)
        for one, other in zip(pairs[::2], pairs[1::2], strict=True):
            paired(asked, one, other)
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
    assert {name: count for name, count in told.items() if count} == dict(+asked.refused)

    again = decide(asked.database, settings, [asked.folder])
    assert _entered(asked.database) == asked.taken
    assert sum(one.decisions + one.results for one in again) == 0


def _entered(database: Database) -> set[Event]:
    """Return what people entered, each once, and every workbook by its name."""
    rows = database.connection.execute(
        'select change, state, "at", "by", channel, until from change_event '
        "where state not in ('proposed', 'lapsed') and workbook like '%.xlsx'",
    ).fetchall()
    (unnamed,) = database.connection.execute(
        "select count(*) from change_event "
        "where state not in ('proposed', 'lapsed') and workbook is null"
    ).fetchall()[0]
    assert unnamed == 0
    assert len(rows) == len(set(rows))
    return set(rows)


@pytest.mark.parametrize("rounds", [2, pytest.param(34, marks=pytest.mark.slow)])
def test_no_edit_is_taken_wrongly_or_lost_or_taken_twice(rounds: int, tmp_path: Path) -> None:
    """Seventy-two edits by default, twelve hundred in the long run."""
    kinds: Counter[str] = Counter()
    for seed in range(rounds):
        kinds += one_round(tmp_path / str(seed), seed)
    assert kinds.total() == 36 * rounds
