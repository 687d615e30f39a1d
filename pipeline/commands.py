"""What the commands beside `run` do: list, price a wish, take decisions, schedule, go back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import polars as pl

from pipeline.audit.audit import AuditOutcome, audit, compare
from pipeline.audit.baseline import Approved, approve
from pipeline.audit.calendar import quarter_of, read_quarter
from pipeline.audit.history import LifeLine, life
from pipeline.changes.back_out import back_out
from pipeline.changes.decisions import Taken, decide
from pipeline.changes.register import Booking, book
from pipeline.changes.verify import Calibration, Check, calibration, verify
from pipeline.check.portfolio import RuleStanding, portfolio
from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.plan.stores import case_of
from pipeline.plan.what_if import WhatIf, what_if
from pipeline.progress import Progress
from pipeline.records import ExportOutcome, RunSummary, Selection
from pipeline.report.back_out import write_back_out
from pipeline.report.calendars import cautions, place_of
from pipeline.report.quarter_files import write_audit
from pipeline.run import Request, judge, session, start_run, summarise, take_in, write_out
from pipeline.schedule.stores import schedule, write_calendars
from pipeline.settled import unsettle
from pipeline.survey.evidence import survey
from pipeline.tables.audit import Departure


@dataclass(frozen=True, slots=True)
class Scheduled:
    """What scheduling came to: the nights, stores without one, proofs by region, files."""

    nights: pl.DataFrame
    unplaced: tuple[tuple[str, str], ...]
    proofs: tuple[tuple[str, float, float, bool], ...]
    booked: int
    calendars: tuple[Path, ...]
    summary: RunSummary


@dataclass(frozen=True, slots=True)
class Verified:
    """What verification found, and how promises of clear air have held so far."""

    checks: tuple[Check, ...]
    calibration: tuple[Calibration, ...]


def run_ingest(request: Request, progress: Progress) -> tuple[ExportOutcome, ...]:
    """Take the exports in and stop there."""
    with session(request) as (database, settings):
        return take_in(database, request, settings, progress)


def run_listing(
    request: Request, listing: str, progress: Progress
) -> tuple[RunSummary, pl.DataFrame]:
    """Judge what the database holds and list its findings or moves; nothing is written out."""
    with session(request) as (database, settings):
        judge(database, request, settings, progress)
        frame = database.frame("run", listing)
        return summarise(database, request), _selected(frame, request.selection)


def run_standing(
    request: Request, since: date | None, progress: Progress
) -> tuple[date, tuple[RuleStanding, ...]]:
    """Tell which rules fail most, where and since when; `since` None: what is new this quarter."""
    with session(request) as (database, settings):
        judge(database, request, settings, progress)
        day = since or quarter_of(summarise(database, request).as_of).first
        regions = request.selection.regions
        rows = portfolio(database, day)
        return day, tuple(row for row in rows if not regions or row.region in regions)


def run_what_if(
    request: Request, store: str, wanted: Mapping[str, int], progress: Progress
) -> WhatIf:
    """Price a person's own choice of channels in one store against the plan.

    Raises:
        UnknownSelection: the store has no such station, or no plan can be made for it.
    """
    with session(request) as (database, settings):
        judge(database, request, settings, progress)
        case = case_of(database, settings, store)
        if case is None:
            planned = [name for (name,) in database.rows("run", "planned_stores")]
            raise UnknownSelection("planned store", store, planned)
        stations = [station.station for station in case.problem.stations]
        for station in wanted:
            if station not in stations:
                raise UnknownSelection(f"station of store {store}", station, stations)
        return what_if(case, wanted, int(settings.limits["solver_effort"]))


def run_decide(
    request: Request, workbooks: Sequence[Path], *, all_or_nothing: bool
) -> tuple[Taken, ...]:
    """Take decisions and results out of workbooks that came back."""
    with session(request) as (database, settings):
        return decide(
            database,
            settings,
            workbooks,
            all_or_nothing=all_or_nothing,
            today=request.as_of,
        )


def run_schedule(request: Request, progress: Progress) -> Scheduled:
    """Give every store with moves its night, book approved changes, and write the files."""
    with session(request) as (database, settings):
        judge(database, request, settings, progress)
        schedule(database, settings, progress)
        bookings = [Booking(*row) for row in database.rows("run", "bookings")]
        booked = book(database, bookings)
        calendars = write_calendars(
            database, cautions(), lambda feed: place_of(database, request.out, feed)
        )
        return Scheduled(
            nights=_selected(database.frame("run", "listed_schedule"), request.selection),
            unplaced=tuple((store, why) for store, why in database.rows("run", "unscheduled")),
            proofs=tuple(
                (region, benefit, bound, optimal)
                for region, benefit, bound, optimal in database.rows("run", "schedule_proof")
            ),
            booked=booked,
            calendars=calendars,
            summary=write_out(database, request, settings, progress),
        )


def run_verify(request: Request) -> Verified:
    """Hold the newest exports against what was carried out."""
    with session(request) as (database, settings):
        start_run(database, request, settings)
        unsettle(database)
        survey(database, settings)
        checks = verify(database, settings)
        day = summarise(database, request).as_of
        return Verified(checks, calibration(database, settings, day))


def run_back_out(request: Request) -> tuple[Path, ...]:
    """Write the way back of every store selected, from what the register says was carried out.

    Raises:
        UnknownSelection: no such store.
    """
    with session(request) as (database, settings):
        start_run(database, request, settings)
        ((day,),) = database.rows("run", "register_day")
        return tuple(
            path
            for store in _stores(database, request.selection)
            for path in write_back_out(database, request.out, back_out(database, store, day))
        )


@dataclass(frozen=True, slots=True)
class QuarterAudited:
    """An audit of a quarter, and its two files."""

    audited: AuditOutcome
    files: tuple[Path, ...]


def run_audit(request: Request, quarter: str | None, progress: Progress) -> QuarterAudited:
    """Audit a quarter, by default that of the run's day, and write its workbook and its pages.

    Raises:
        QuietaisleError: no such quarter.
    """
    with session(request) as (database, settings):
        judge(database, request, settings, progress)
        day = summarise(database, request).as_of
        chosen = quarter_of(day) if quarter is None else read_quarter(quarter)
        found = audit(database, chosen, progress)
        return QuarterAudited(found, write_audit(database, request.out, chosen.name))


def run_approve(request: Request, by: str, reason: str) -> tuple[Approved, ...]:
    """Freeze the configuration of the selected stores as agreed.

    Raises:
        QuietaisleError: the approver is not in the rules file, or a store does not exist.
    """
    with session(request) as (database, settings):
        start_run(database, request, settings)
        on = summarise(database, request).as_of
        stores = _stores(database, request.selection)
        return approve(database, settings, stores, by=by, reason=reason, on=on)


def run_compare(request: Request, start: date, end: date) -> tuple[Departure, ...]:
    """Hold what was found on a day against what was agreed, and say what came between two days."""
    with session(request) as (database, settings):
        start_run(database, request, settings)
        chosen = set(_stores(database, request.selection))
        return tuple(row for row in compare(database, start, end) if row.store in chosen)


def run_life(request: Request, store: str, station: str) -> tuple[LifeLine, ...]:
    """Tell one station's life.

    Raises:
        UnknownSelection: no such store or station.
    """
    with session(request) as (database, settings):
        start_run(database, request, settings)
        return life(database, store, station)


def _stores(database: Database, selection: Selection) -> list[str]:
    names = database.rows("run", "names")
    return [store for store, region in names if selection.takes(store, region)]


def _selected(frame: pl.DataFrame, selection: Selection) -> pl.DataFrame:
    if selection.stores:
        frame = frame.filter(pl.col("store").is_in(selection.stores))
    if selection.regions:
        frame = frame.filter(pl.col("region").is_in(selection.regions))
    return frame
