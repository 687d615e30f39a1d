"""Random lives of stores against an independent oracle of what verify and review must say."""

from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from changes_kit import settings_in
from empty import new_database
from story_lives import BY, Step, World
from story_oracle import Tale

from pipeline.audit.baseline import advance, approve
from pipeline.changes.effect import calibration
from pipeline.changes.register import history
from pipeline.changes.states import transitions
from pipeline.changes.verify import not_as_ordered
from pipeline.database import Database
from pipeline.report.region.content import ChangeProgress, RegionContent
from pipeline.report.region.gather import region_contents
from pipeline.tables.changes import ChangeEvent

_TOLD = (
    "change, ordered_channel, decision, night, done_on, done_by, channel_found, closed, closed_on,"
    " waits_for, overdue, replaced, counts"
)


@pytest.mark.parametrize(
    ("lives", "rounds", "seed"),
    [(9, 4, 1), pytest.param(300, 9, 2, marks=pytest.mark.slow)],
)
def test_lives_are_told_as_they_were(tmp_path: Path, lives: int, rounds: int, seed: int) -> None:
    """After every round the view, verify and the review say what the oracle says."""
    settings = settings_in(tmp_path)
    with new_database(tmp_path / "lives.duckdb") as database:
        world = World(database, settings, lives, seed)
        agreed: dict[str, str] = {}
        after = 0
        for _ in range(rounds):
            world.live()
            _the_view_agrees(database, world)
            _verify_agrees(database, world)
            [review] = region_contents(database, settings, ["North"])
            _the_review_agrees(review, world)
            after = _agree(database, world, agreed, after)
        _events_keep_to_the_method(database)
    ends = Counter(s.tale.closed or s.tale.waits_for for life in world.lives for s in life.steps)
    assert {"as ordered", "done differently", "undone", "not done", "decision"} <= set(ends)


def _of_method(title: str) -> list[list[str]]:
    """Return the cells of the table that docs/method.md has below a line."""
    text = (Path(__file__).parents[1] / "docs" / "method.md").read_text(encoding="utf-8")
    lines = text.split(title)[1].split("\n\n")[1].splitlines()
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def _events_keep_to_the_method(database: Database) -> None:
    """The table of states in the method is that of the program, and no life went another way."""
    (_, *steps), _, *rows = _of_method("Of a **change**")
    told = {
        (state.replace("(none)", "") or None, then, step)
        for state, *cells in rows
        for step, cell in zip(steps, cells, strict=True)
        for then in cell.split(", ")
        if then
    }
    assert told == set(transitions())
    lived = database.connection.execute(
        "select distinct lag(state) over (partition by change order by seq), state "
        "from change_event"
    ).fetchall()
    assert set(lived) <= {(state, then) for state, then, _ in told}
    assert len(set(lived)) > 15


def _agree(database: Database, world: World, agreed: dict[str, str], after: int) -> int:
    """Move on what is agreed as the method's table has it; return the number of the last event."""
    steps = {step.change.change: step for life in world.lives for step in life.steps}
    events = [event for event in history(database) if event.seq > after]
    told = [(event, steps[event.change]) for event in events]
    for event, step in sorted(told, key=_in_order):
        if event.state == "verified" and not step.change.parking:
            agreed[step.change.station] = str(step.tale.ordered)
        elif event.state == "backed out":
            agreed[step.change.station] = str(step.change.from_channel)
    advance(database)
    _it_is_agreed(database, agreed)
    for life in world.lives[after % 5 :: 5]:  # of some stores, what was found is approved
        approve(database, world.settings, [life.store], by=BY, reason="r", on=world.today)
        assert life.exported is not None
        agreed |= {station: str(channel) for station, channel in life.exported[1].items()}
    _it_is_agreed(database, agreed)
    return events[-1].seq if events else after


def _in_order(told: tuple[ChangeEvent, Step]) -> tuple[date, int]:
    """Sort by days; a way over a parking channel goes back in the opposite order."""
    event, step = told
    back = event.state == "backed out"
    return event.at.date(), -step.change.position if back else step.change.position


def _it_is_agreed(database: Database, agreed: dict[str, str]) -> None:
    rows = database.connection.execute(
        "select station, value from baseline where field = 'channel' order by approved_on, version"
    ).fetchall()
    assert dict(rows) == agreed


def _the_view_agrees(database: Database, world: World) -> None:
    rows = database.connection.execute(f"select {_TOLD} from change_story").fetchall()  # noqa: S608 - columns named above
    told = {row[0]: row[1:] for row in rows}
    for life in world.lives:
        for step in life.steps:
            tale = step.tale
            expected = (
                tale.ordered, _decision(tale), tale.night.date() if tale.night else None,
                tale.done_on, tale.done_by, tale.found, tale.closed,
                tale.closed_day, tale.waits_for,
                tale.overdue(world.today), tale.replaced, tale.counts,
            )  # fmt: skip
            assert told[step.change.change] == expected, (world.today, step)


def _decision(tale: Tale) -> str | None:
    if tale.word == "approved" and tale.ordered != tale.to_channel:
        return "approved with another channel"
    return tale.word


def _verify_agrees(database: Database, world: World) -> None:
    """Each piece of work that is not as ordered is named with what follows; none is counted."""
    said = {one.change: one for one in world.checks}
    steps = [step for life in world.lives for step in life.steps]
    for step in steps:
        tale, one = step.tale, said.get(step.change.change)
        if tale.went is not None:
            assert one is not None
            assert one.said == f"ordered {tale.ordered}, found on {tale.found}: {tale.went}"
            assert one.follows
        elif one is not None:
            assert not one.follows, (one, step)
    stores = [life.store for life in world.lives]
    ends = Counter(
        step.tale.closed
        for step in steps
        if step.tale.word == "approved" and not step.change.parking
        if not (step.tale.standing == "lapsed" and step.tale.replaced)  # goes on in a later plan
    )
    not_so = {end: ends[end] for end in ("done differently", "not done", "undone") if ends[end]}
    assert not_as_ordered(database, stores) == not_so
    promised = [s.tale for s in steps if s.tale.counts and s.tale.ordered == s.tale.to_channel]
    overall = [row for row in calibration(database, stores) if row.sureness == "all"]
    assert sum(row.changes for row in overall) == len(promised)
    if promised:
        kept = sum(tale.standing == "held" for tale in promised) / len(promised)
        assert overall[0].held == pytest.approx(kept)


_UNCHECKED = {"export", "scan"}


def _the_review_agrees(review: RegionContent, world: World) -> None:
    steps = [s for life in world.lives for s in life.steps if not s.change.parking]
    tales = [step.tale for step in steps]
    expected = {
        ChangeProgress.VERIFIED: sum(t.standing == "held" for t in tales),
        ChangeProgress.IMPLEMENTED: sum(
            t.waits_for in _UNCHECKED and not t.otherwise for t in tales
        ),
        ChangeProgress.FAILED: sum(t.standing == "short" for t in tales),
        ChangeProgress.DIFFERENTLY: sum(
            t.standing == "other" or (t.waits_for in _UNCHECKED and t.otherwise) for t in tales
        ),
        ChangeProgress.UNDONE: sum(t.standing == "undone" for t in tales),
        ChangeProgress.SCHEDULED: sum(t.waits_for == "work" for t in tales),
        ChangeProgress.APPROVED: sum(t.waits_for == "night" for t in tales),
        ChangeProgress.TO_DECIDE: sum(t.waits_for == "decision" for t in tales),
        ChangeProgress.UNPUT: 0,
    }
    assert {progress: review.count(progress) for progress in ChangeProgress} == expected
    late = [t for t in tales if t.overdue(world.today)]
    assert sum(one.why == "overdue" for one in review.late) == len(late)
    assert sum(store.overdue for store in review.stores) == len(late)
    assert all((review.as_of - one.since).days > 0 for one in review.late)
    assert len(review.promises) == sum(t.counts for t in tales)
    otherwise = {
        (s.change.store, s.change.station, s.tale.closed)
        for s in steps
        if s.tale.closed in {"done differently", "undone"} and not s.tale.replaced
    }
    assert {(c.store, c.station, c.closed) for c in review.otherwise} == otherwise
    assert all(c.decided_by in {BY, None} for c in review.otherwise)
