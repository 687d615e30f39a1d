"""The demo's whole way round: what was approved and carried out is agreed; the rest is named."""

import shutil
from collections import Counter
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from pathlib import Path

import pypdfium2
import pytest
from click.testing import CliRunner
from demo_run import SAMPLE, Ran, write_follow_up

from pipeline.changes.register import append
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.cli import cli
from pipeline.commands import run_approve, run_audit, run_verify
from pipeline.database import Database, open_database
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.report.quarter.content import QuarterContent, verdict
from pipeline.report.quarter.gather import quarter_content
from pipeline.report.quarter.pages import quarter_pdf
from pipeline.report.region.answers import decisions
from pipeline.report.region.content import RegionContent
from pipeline.report.region.gather import region_contents
from pipeline.run import run, session
from pipeline.wording import wording

NEXT = date(2027, 1, 20)
BY = "T. Aldervane"
REGIONS = ("East", "Mitte", "North")
WRONG, DRIFTED, REPLACED = "N104-02", "N102-03", "M203-01"
ELSEWHERE = 15  # neither the channel of before nor the one ordered
SILENT = "E302"  # its exports end with the demo's first snapshot
OPENING = "N105"  # nothing of it is installed by the next quarter


@dataclass(frozen=True)
class Round:
    """What the next quarter's audit and the region reviews say.

    `baseline`: the regions whose stores were approved before; `recounted`: headline figures of each
    region by name, and the stations audited, counted from exports and register by other statements.
    """

    baseline: tuple[str, ...]
    ordered: dict[str, int]
    content: QuarterContent
    reviews: tuple[RegionContent, ...]
    verified: frozenset[str]
    recounted: dict[str, dict[str, float]]


# What a region's review and the audit must come to, from the exports as taken and the register.
_LAST_EXPORT = """
create or replace temp view listed as
    select s.store, s.station, s.seen_on, s.status = 'planned' as planned from station_seen s
    where s.seen_on = (select max(seen_on) from station_seen x where x.store = s.store)"""
_RECOUNT = """
with stands as (
    select c.store, max_by(e.state, e.seq) as state from change c join change_event e using (change)
    where not c.parking group by c.store, c.change
), aired as (
    select a.store, a.clear_air, greatest(coalesce(l.labels, 0), 1) as w
    from clear_air_now a left join station_load l using (store, station)
    where a.clear_air is not null
), graded as (
    select store, severity from finding
    where run = (select run from this_run) and excepted is null
)
select max_by(n.region, n.seen_on) as region, n.store,
    (select count(distinct station) from listed l where l.store = n.store and planned is not true)
        as stations,
    (select count(distinct station) from listed l where l.store = n.store and planned)
        as to_install,
    (select count(*) from stands t where t.store = n.store and state in ('proposed', 'deferred'))
        as waiting,
    (select count(*) from stands t where t.store = n.store and state = 'verified') as verified,
    (select count(*) from stands t where t.store = n.store and state = 'approved') as approved,
    (select count(*) from graded g where g.store = n.store and severity = 'stop') as stop,
    (select count(*) from graded g where g.store = n.store and severity = 'fix') as fix,
    (select sum(clear_air * w) from aired a where a.store = n.store) as air,
    (select sum(w) from aired a where a.store = n.store) as weight
from store_seen n group by n.store
"""
_AUDITED = """
select count(distinct (store, station)) from listed
where planned is not true and seen_on >= date '2027-01-01'
"""


@pytest.fixture(scope="module")
def next_exports(demo_run: Ran, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the next quarter's exports: all changes carried out but for three mishaps."""
    channels = dict(demo_run.rows("select station, to_channel from change where not parking"))
    [(before,)] = demo_run.rows("select from_channel from change where station = ?", [WRONG])
    assert ELSEWHERE not in {before, channels[WRONG]}
    assert DRIFTED not in channels
    folder = tmp_path_factory.mktemp("next")
    write_follow_up(folder, NEXT, {**channels, WRONG: ELSEWHERE, DRIFTED: 24})
    _replace_hardware(folder)
    return folder


def gone_round(first: Ran, follow_up: Path, folder: Path, baseline: tuple[str, ...]) -> Round:
    """Approve every change, take the next quarter's exports in, and audit it."""
    done = first.copied(folder, reports=False)
    exports = folder / "exports"
    shutil.copytree(SAMPLE, exports)
    shutil.copytree(follow_up, exports / "next")
    request = replace(done.request, exports=exports, out=folder / "out")
    later = replace(request, exports=None)
    if baseline:
        run_approve(replace(later, selection=Selection(regions=baseline)), BY, "as built")
    with open_database(request.database) as database, database.transaction():
        changes = database.connection.execute(
            "select change, station, to_channel, parking, r.as_of from change, this_run r "
            "order by store, position"
        ).fetchall()
        append(
            database, Trigger.DECIDE,
            [new_event(change, ChangeState.APPROVED, datetime.combine(as_of, time(20)), BY)
             for change, _, _, _, as_of in changes],
        )  # fmt: skip
    channels = {station: to for _, station, to, parking, _ in changes if not parking}
    # One store's files are enough: all stores are judged and audited whatever is written.
    run(replace(request, selection=Selection(stores=("N101",))), Silent())
    run_verify(later)
    run_audit(later, "2027-Q1", Silent())
    with session(later) as (database, settings):
        content = quarter_content(database, "2027-Q1")
        reviews = tuple(region_contents(database, settings, REGIONS))
        states = dict(
            database.connection.execute(
                "select station, state from change join change_state_on(date '2030-01-01') "
                "using (change) where change in (select unnest(?))",
                [[change for change, _, _, parking, _ in changes if not parking]],
            ).fetchall()
        )
        recounted = _recounted(database)
    verified = frozenset(s for s, state in states.items() if state == "verified")
    return Round(baseline, channels, content, reviews, verified, recounted)


def _recounted(database: Database) -> dict[str, dict[str, float]]:
    """Add up the recount of stores by region; the audited stations are those of the region ''."""
    told: dict[str, Counter[str]] = {}
    database.connection.execute(_LAST_EXPORT)
    stores = database.connection.sql(_RECOUNT).fetchall()
    names = database.connection.sql(_RECOUNT).columns[2:]
    for region, _, *figures in stores:
        told.setdefault(region, Counter()).update(
            {name: value or 0 for name, value in zip(names, figures, strict=True)}
        )
    [(audited,)] = database.connection.sql(_AUDITED).fetchall()
    return {region: dict(counted) for region, counted in told.items()} | {"": {"audited": audited}}


def _replace_hardware(folder: Path) -> None:
    """Give one station other hardware in the stations export that lists it."""
    was, becomes = b"00:00:5e:ef:10:00:00:24", b"00:00:5e:ef:20:00:00:01"
    holding = [path for path in folder.rglob("*.csv") if was in path.read_bytes()]
    [path] = holding
    path.write_bytes(path.read_bytes().replace(was, becomes))


@pytest.fixture(
    scope="module",
    params=[
        ("North",),
        pytest.param((), marks=pytest.mark.slow),
        pytest.param(REGIONS, marks=pytest.mark.slow),
    ],
    ids=["baseline of one region", "no baseline", "baseline"],
)
def done(
    request: pytest.FixtureRequest,
    demo_run: Ran,
    next_exports: Path,
    tmp_path_factory: pytest.TempPathFactory,
) -> Round:
    """Go round with the stores of one region, of none and of all approved before."""
    folder = tmp_path_factory.mktemp("round")
    return gone_round(demo_run, next_exports, folder, request.param)


def test_the_next_quarter_names_the_three_mishaps_and_nothing_else(done: Round) -> None:
    """Done otherwise than approved, drifted, replaced: named, with what each should be.

    What was approved and carried out is agreed, whether or not a baseline was approved before.
    """
    named = {(one.subject, one.field, one.kind): one for one in done.content.to_act_on}
    assert set(named) == {
        (WRONG, "channel", "drift"),
        (DRIFTED, "channel", "drift"),
        (REPLACED, "eui64", "replaced hardware"),
    }
    wrong = named[WRONG, "channel", "drift"]
    assert (wrong.agreed, wrong.found) == (str(done.ordered[WRONG]), str(ELSEWHERE))
    assert wrong.approved_by == BY
    assert len(done.verified) > 10
    assert WRONG not in done.verified
    approved = {d.subject for d in done.content.differences if d.kind == "approved change"}
    silent = {name for name in done.ordered if name.startswith((f"{SILENT}-", f"{OPENING}-"))}
    assert approved == done.ordered.keys() - {WRONG} - silent
    asked = {(one.subject, one.field) for review in done.reviews for one in review.astray}
    assert asked == {(subject, field) for subject, field, _ in named}
    assert done.content.now.astray == 3


@pytest.mark.slow
def test_where_all_is_done_as_ordered_nothing_departs(
    demo_run: Ran, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """All moves approved, carried out and found so: not one departure that anybody must answer."""
    channels = dict(demo_run.rows("select station, to_channel from change where not parking"))
    folder = tmp_path_factory.mktemp("as-ordered")
    write_follow_up(folder, NEXT, channels)
    done = gone_round(demo_run, folder, tmp_path_factory.mktemp("null"), REGIONS)

    now = done.content.now
    assert done.content.to_act_on == ()
    assert (now.astray, now.asked, now.nobody, now.differently, now.undone) == (0, 0, 0, 0, 0)
    told = {(d.kind, d.store == SILENT) for d in done.content.differences}
    assert told == {("approved change", False), ("unseen", True)}  # no export: a gap, told as one
    assert now.ordered > 20
    assert not any(review.astray for review in done.reviews)


def test_page_one_says_what_is_asked_and_counts_by_order(done: Round) -> None:
    """Kept counts only what was found as ordered; four pages are enough for the demo."""
    now = done.content.now
    approved = [d for d in done.content.differences if d.kind == "approved change"]
    assert (now.ordered, now.differently, now.nobody) == (len(approved), 1, 2)
    [wrong] = [c for c in done.content.causes if c.by_order == "done differently"]
    assert (wrong.subject, wrong.found) == (WRONG, str(ELSEWHERE))
    assert WRONG not in {one.station for one in done.content.measured}
    outcomes = {one.state: one.changes for one in done.content.states}
    assert outcomes["done differently"] == 1
    document = pypdfium2.PdfDocument(quarter_pdf(done.content, wording(None)))
    assert len(document) <= 4
    first = " ".join(document[0].get_textpage().get_text_range().split())
    assert "put back or approve 3 departures from what was agreed, 2 of them of channels." in first
    assert first.count("Asked of") == 1
    assert "What stays open, the audit of 2027-Q2 asks again." in first
    document.close()


def test_the_headlines_are_what_exports_and_register_come_to(done: Round) -> None:
    """Counted another way: stations, those to install, moves by state, findings, clear air."""
    for review in done.reviews:
        counted = done.recounted[review.region]
        told = {
            name: sum(getattr(store, name) for store in review.stores)
            for name in ("stations", "to_install", "verified", "approved", "stop", "fix")
        }
        assert told == {name: counted[name] for name in told}
        assert len(review.pending) == counted["waiting"]
        mean = counted["air"] / counted["weight"]
        assert review.clear_air(planned=False) == pytest.approx(mean, abs=1e-9)
    assert sum(review.stores[-1].to_install for review in done.reviews) > 0
    assert done.content.now.stations == done.recounted[""]["audited"]


def test_stations_never_agreed_on_are_counted_apart(done: Round) -> None:
    """Without a baseline all but those with a verified change; with one, none."""
    now = done.content.now
    apart = [store for store in done.content.stores if store.region not in done.baseline]
    stores = {store.store for store in apart}
    verified = [station for station in done.verified if station.split("-")[0] in stores]
    assert now.unagreed == sum(store.stations for store in apart) - len(verified)
    assert bool(now.unagreed) == (done.baseline != REGIONS)
    assert sum(store.unagreed for store in apart) == now.unagreed
    assert sum(store.unagreed for store in done.content.stores) == now.unagreed
    listed = [s for review in done.reviews for s in review.stores if s.store != SILENT]
    assert sum(store.unagreed for store in listed) == now.unagreed


def test_the_first_quarter_asks_for_a_baseline_in_one_line(demo_run: Ran, tmp_path: Path) -> None:
    """Nobody could agree to anything before the first run: none is astray, all are counted."""
    request = replace(demo_run.copied(tmp_path, reports=False).request, exports=None)
    with session(request) as (database, settings):
        content = quarter_content(database, "2026-Q3")
        [review] = region_contents(database, settings, ["North"])

    assert content.to_act_on == ()
    assert content.now.unagreed == content.now.stations > 0
    listed = next(store for store in content.stores if store.store == OPENING)
    assert (listed.exports, listed.stations, listed.unagreed) == (1, 0, 0)  # nothing installed yet
    assert review.astray == ()
    words = wording("GB")
    asked = f"Asked of those who approve: {content.now.unagreed} stations are not agreed yet;"
    assert verdict(content, words).startswith(asked)
    about = [line for line in decisions(review, words) if "baseline" in line.text]
    assert [line.count for line in about] == [words.number(sum(s.stations for s in review.stores))]


def test_all_stores_are_approved_in_one_command(demo_run: Ran, tmp_path: Path) -> None:
    """One command, and one line for the stores found on the same day."""
    request = demo_run.copied(tmp_path, reports=False).request
    args = ["audit", "--approve", "--by", BY, "--reason", "as built"]
    where = ["--database", str(request.database)]
    refused = CliRunner().invoke(cli, [*args, *where])
    done = CliRunner().invoke(cli, [*args, "--all-stores", *where])

    assert "--all-stores" in refused.output
    assert done.exit_code == 0
    assert "stores: version 1," in done.output
    assert len(done.output.splitlines()) <= 2
