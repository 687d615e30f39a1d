"""What the commands beside `run` do: list, price a wish, take decisions, schedule, go back."""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path

import polars as pl

from pipeline.audit.audit import AuditOutcome, audit, compare, draw_sample, keep_results
from pipeline.audit.baseline import Approved, accept, approve, take
from pipeline.audit.history import LifeLine, life
from pipeline.audit.records import quarter_of, read_quarter
from pipeline.changes.answers import among, answers, sample_results
from pipeline.changes.decisions import Taken, decide
from pipeline.changes.effect import Calibration, calibration
from pipeline.changes.morning import MorningAfter, back_out, last_night, ways_back
from pipeline.changes.register import Booking, book
from pipeline.changes.verify import Check, not_as_ordered, not_put_right, verify, yardstick
from pipeline.check.rules import RuleStanding, portfolio
from pipeline.database import Database
from pipeline.errors import PlanNotProven
from pipeline.forms import ANSWERS, SAMPLE
from pipeline.fresh import forget_whole_run
from pipeline.plan.explain import Case
from pipeline.plan.read import case_of, known_case, scan_terms
from pipeline.plan.stores import terms_of
from pipeline.plan.what_if import WhatIf, proof_of, worth_of
from pipeline.plan.wishes import Wishes, price_wishes
from pipeline.progress import Progress
from pipeline.proof.check import (
    Checked,
    PrintedSeal,
    Wanted,
    check_register,
    prove,
    read_seal,
    seal_of,
)
from pipeline.records import OrderPrice, RunSummary, Selection
from pipeline.report.write import (
    audit_verdict,
    cautions,
    drop_calendars,
    foresight,
    place_of,
    samples_told,
    write_audit,
    write_back_out,
    write_originals,
    write_sample,
)
from pipeline.run import (
    Request,
    judge,
    require_readable,
    session,
    start_run,
    stores_of,
    summarise,
    take_in,
    write_out,
)
from pipeline.settings import Settings
from pipeline.survey.evidence import survey
from pipeline.tables.audit import Departure
from pipeline.tables.changes import ScheduleProof, UnscheduledStore
from pipeline.tables.taken import ExportFile


@dataclass(frozen=True, slots=True)
class Scheduled:
    """What scheduling came to: the nights, stores without one, proofs by region, files."""

    after: date  # nights lie after this day
    nights: pl.DataFrame
    unplaced: Sequence[UnscheduledStore]
    proofs: Sequence[ScheduleProof]
    foreseen: Sequence[str]  # what the waves would show
    booked: int
    calendars: tuple[Path, ...]
    summary: RunSummary


@dataclass(frozen=True, slots=True)
class Verified:
    """What verification found, and how promises of clear air have held so far."""

    checks: tuple[Check, ...]
    standing: tuple[Check, ...]  # found otherwise by an earlier look, and not put right since
    calibration: tuple[Calibration, ...]
    not_as_ordered: Mapping[str, int]  # changes that no promise counts, by how they ended


@dataclass(frozen=True, slots=True)
class QuarterAudited:
    """An audit of a quarter, what it asks, its two files, and the seal of the register."""

    audited: AuditOutcome
    verdict: str
    files: tuple[Path, ...]
    seal: PrintedSeal | None


@contextmanager
def _started(request: Request) -> Iterator[tuple[Database, Settings]]:
    """Open what the database holds as of the request's day."""
    with session(request) as (database, settings):
        start_run(database, request, settings)
        yield database, settings


@contextmanager
def _judged(request: Request, progress: Progress) -> Iterator[tuple[Database, Settings]]:
    """Open what the database holds, judged as of the request's day."""
    with session(request) as (database, settings):
        judge(database, request, settings, progress)
        yield database, settings


def run_ingest(request: Request, progress: Progress) -> tuple[ExportFile, ...]:
    """Take the exports in and stop there."""
    with session(request) as (database, settings):
        return take_in(database, request, settings, progress)


def run_listing(
    request: Request, listing: str, progress: Progress
) -> tuple[RunSummary, pl.DataFrame]:
    """Judge what the database holds and list its findings or moves; write no file.

    `listing` is "listed_findings" or "listed_moves".
    """
    with _judged(request, progress) as (database, _):
        frame = database.frame("run", listing)
        return summarise(database, request), _selected(frame, request.selection)


def run_standing(
    request: Request, since: date | None, progress: Progress
) -> tuple[date, tuple[RuleStanding, ...]]:
    """Say which rules fail most, where and since when; `since` None: what is new this quarter."""
    with _judged(request, progress) as (database, _):
        day = since or quarter_of(_day(database)).first
        regions = request.selection.regions
        rows = portfolio(database, day)
        return day, tuple(row for row in rows if not regions or row.region in regions)


def run_what_if(request: Request, store: str, wishes: Wishes, progress: Progress) -> WhatIf:
    """Price a person's own choice in one store against the plan.

    Raises:
        UnknownSelection: the store has no such station or network, or no plan can be made for it.
    """
    with _judged(request, progress) as (database, settings):
        found, limits = known_case(database, settings, store), settings.limits
        visit = scan_terms(database, limits).visit
        return price_wishes(*found, wishes, limits, terms=terms_of(limits), visit=visit)


def run_plan_proof(request: Request, store: str, progress: Progress) -> str:
    """Return a proof, as JSON, that nothing is cheaper than a store's plan.

    Raises:
        UnknownSelection: no plan can be made for the store.
        PlanNotProven: no such proof of its plan can be made.
    """
    with _judged(request, progress) as (database, settings):
        effort, terms = int(settings.limits["solver_effort"]), terms_of(settings.limits)
        case, _ = known_case(database, settings, store)
        proof = proof_of(case, effort, terms)
    if proof is None:
        raise PlanNotProven(store)
    return json.dumps(proof, ensure_ascii=False) + "\n"


def run_decide(
    request: Request, workbooks: Sequence[Path], *, all_or_nothing: bool
) -> tuple[Taken, ...]:
    """Take decisions and results out of workbooks that came back; price what they order."""
    day, whole = request.as_of, all_or_nothing
    with session(request) as (database, settings):

        @cache
        def case(store: str) -> Case | None:
            return case_of(database, settings, store)

        def price(
            store: str, before: Mapping[str, int], after: Mapping[str, int]
        ) -> OrderPrice | None:
            known = case(store)
            return None if known is None else worth_of(known, before, after)

        audits, samples = among(workbooks, ANSWERS), among(workbooks, SAMPLE)
        others = [path for path in workbooks if path not in {*audits, *samples}]
        done = decide(database, settings, others, all_or_nothing=whole, today=day, price=price)
        told, given, files = answers(database, settings, audits, all_or_nothing=whole, today=day)
        take(database, given, files)
        with database.transaction():
            accept(database)
        seen, found, sheets = sample_results(database, samples, all_or_nothing=whole, today=day)
        keep_results(database, found, sheets)
        said = samples_told(database, sorted({one.sample for one in found}))
        return (*done, *told, *(replace(one, priced=said) for one in seen))


def run_schedule(request: Request, progress: Progress) -> Scheduled:
    """Give every store with moves its night, book approved changes, and write the files."""
    # The solver takes a fifth of the program's start: the other commands go without.
    from pipeline.schedule.stores import schedule, write_calendars  # noqa: PLC0415

    with _judged(request, progress) as (database, settings):
        schedule(database, settings, progress)
        booked = book(database, database.records(Booking, "run", "bookings"))
        if booked:  # reports print the nights, so what they say belongs to a run of its own
            judge(database, request, settings, progress)
        calendars = write_calendars(
            database,
            cautions,
            lambda feed: place_of(database, request.out, feed.region, feed.store, feed.team),
        )
        drop_calendars(request.out, calendars)
        chosen = stores_of(database, request.selection)
        return Scheduled(
            after=database.value("schedule", "nights_after"),
            nights=_selected(database.frame("run", "listed_schedule"), request.selection),
            unplaced=[
                one
                for one in database.records(UnscheduledStore, "run", "unscheduled")
                if one.store in chosen
            ],
            proofs=database.records(ScheduleProof, "run", "schedule_proof", {"stores": chosen}),
            foreseen=foresight(database, settings),
            booked=booked,
            calendars=calendars,
            summary=write_out(database, request, settings, progress),
        )


def run_verify(request: Request) -> Verified:
    """Hold the newest exports against what was carried out."""
    with _started(request) as (database, settings):
        forget_whole_run(database)
        survey(database, settings)
        chosen = stores_of(database, request.selection)
        checks = tuple(one for one in verify(database, settings) if one.store in set(chosen))
        told = {one.change for one in checks}
        standing = tuple(o for o in not_put_right(database, chosen) if o.change not in told)
        held, ended = calibration(database, chosen), not_as_ordered(database, chosen)
        return Verified(checks, standing, held, ended)


def run_morning(request: Request, progress: Progress) -> MorningAfter:
    """Take the export of the next day in, and say what became of the changes of last night.

    It goes by the rules named or beside the exports, else by those of the last run.
    """
    with session(request) as (database, settings):
        outcomes = take_in(database, request, settings, progress)
        require_readable(request, outcomes)
        start_run(database, request, settings)
        forget_whole_run(database)
        verify(database, settings)
        chosen = stores_of(database, request.selection)
        found = last_night(database, chosen, yardstick(settings.limits))
        ways = ways_back(database, found, database.value("run", "register_day"))
        return MorningAfter(outcomes, _day(database), found, ways)


def run_back_out(request: Request) -> tuple[Path, ...]:
    """Write the way back of every store selected, from what the register says was carried out.

    Raises:
        UnknownSelection: no such store.
    """
    with _started(request) as (database, _):
        day = database.value("run", "register_day")
        return tuple(
            path
            for store in stores_of(database, request.selection)
            for path in write_back_out(database, request.out, back_out(database, store, day))
        )


def run_audit(request: Request, quarter: str | None, progress: Progress) -> QuarterAudited:
    """Audit a quarter, by default that of the run's day, and write its workbook and its pages.

    Raises:
        QuietaisleError: no such quarter.
    """
    with _judged(request, progress) as (database, settings):
        chosen = quarter_of(_day(database)) if quarter is None else read_quarter(quarter)
        found = audit(database, chosen, progress)
        files = write_audit(database, request.out, chosen.name, settings.approvers)
        asked = audit_verdict(database, chosen.name, settings.approvers)
        return QuarterAudited(found, asked, files, seal_of(database))


def run_sample(request: Request, wanted: float, seed: str | None) -> Path:
    """Draw stations for an auditor to look at and write the sheet; `wanted` below 1 is a share.

    Raises:
        NothingToSample: nothing is agreed of any station.
    """
    with _started(request) as (database, _):
        return write_sample(database, request.out, draw_sample(database, wanted, seed))


def run_approve(request: Request, by: str, reason: str) -> tuple[Approved, ...]:
    """Freeze the configuration of the selected stores as agreed; of all with stations, if none is.

    Raises:
        QuietaisleError: the approver is not in the rules file, or a store does not exist.
    """
    with _started(request) as (database, settings):
        stores = stores_of(database, request.selection)
        if request.selection == Selection():
            stores = database.column("audit", "known_stores")
        if not request.selection.stores:  # nothing can be agreed to where nothing hangs yet
            hanging = set(database.column("audit", "hanging_stores"))
            stores = [store for store in stores if store in hanging]
        return approve(database, settings, stores, by=by, reason=reason, on=_day(database))


def run_check_seals(request: Request, seals: Sequence[str]) -> Checked:
    """Hold the register to its own seals, and to those that pages printed.

    Raises:
        SealUnreadable: what was typed is no seal.
    """
    printed = tuple(map(read_seal, seals))
    with session(request) as (database, _):
        return check_register(database, printed)


def run_originals(request: Request, folder: Path, change: str) -> Iterator[str]:
    """Write the workbooks that a change's decisions and results came in; yield where each stands.

    Raises:
        NothingToProve: none came in a workbook that is kept.
        OutputNotWritable: a file cannot be written.
    """
    with session(request) as (database, _):
        yield from write_originals(database, folder, change)


def run_prove(
    request: Request, path: Path, wanted: Wanted, quarter: str | None, sizes: Sequence[int]
) -> None:
    """Write a proof that entries of the register stand as they were sealed.

    Raises:
        QuietaisleError: there is no such quarter, entry or older seal.
    """
    if quarter is not None:
        days = read_quarter(quarter)
        wanted = replace(wanted, days=(days.first, days.last))
    with session(request) as (database, _):
        path.write_text(prove(database, wanted, sizes), encoding="utf-8", newline="\n")


def run_compare(request: Request, start: date, end: date) -> tuple[Departure, ...]:
    """Hold what was found on a day against what was agreed, and say what came between two days."""
    with _started(request) as (database, _):
        chosen = set(stores_of(database, request.selection))
        return tuple(row for row in compare(database, start, end) if row.store in chosen)


def run_life(request: Request, store: str, station: str) -> tuple[LifeLine, ...]:
    """Tell one station's life.

    Raises:
        UnknownSelection: no such store or station.
    """
    with _started(request) as (database, _):
        return life(database, store, station)


def _day(database: Database) -> date:
    day: date = database.value("run", "this_day")
    return day


def _selected(frame: pl.DataFrame, selection: Selection) -> pl.DataFrame:
    """Return the rows of the stores asked for; those of no one store only with the whole chain."""
    pairs = zip(frame["store"], frame["region"], strict=True)
    return frame.filter(pl.Series([selection.takes(*pair) for pair in pairs], dtype=pl.Boolean))
