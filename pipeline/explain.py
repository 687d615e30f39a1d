"""From a printed figure back to its rows: the formula with its numbers, the readings, the files."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import fsum, prod
from pathlib import Path

from pipeline import __version__
from pipeline.database import Database
from pipeline.errors import FolderMissing, NoStores, StationOfSeveral, UnknownSelection
from pipeline.estimate.patterns import block_spread
from pipeline.ingest.load import ReadingLine, lines_in, readings_files
from pipeline.run import Request, session
from pipeline.settings import Settings
from pipeline.survey.evidence import TracedBlock, TracedChannel, TracedReading, traced
from pipeline.tables.run import ThisRun
from pipeline.wording import DEFAULT_LANGUAGE, worded_in

_ROW = 8  # figures in a line


@dataclass(frozen=True, slots=True)
class TracedStation:
    """A station with its clear air, today and as planned, and its weight in its store's mean."""

    store: str
    station: str
    to_install: bool
    channel: int | None
    channel_planned: int | None
    now: float | None
    now_low: float | None
    now_high: float | None
    planned: float | None
    planned_low: float | None
    planned_high: float | None
    labels: int
    weight: float


@dataclass(frozen=True, slots=True)
class TracedOwn:
    """An own station that a station hears, near enough to its channel to disturb it."""

    neighbour_store: str
    neighbour: str
    channel: int
    heard_dbm: float
    source: str
    air_share: float
    hit: float

    @property
    def left(self) -> float:
        """The share of time it leaves free."""
        return 1 - self.air_share * self.hit


@dataclass(frozen=True, slots=True)
class _Figure:
    """A printed figure of a station: when it holds, on which channel, its estimate and interval."""

    when: str
    channel: int
    planned: bool
    value: float | None
    low: float | None
    high: float | None


def explain_figure(request: Request, key: str, exports: Path | None) -> Iterator[str]:
    """Yield the lines that lead from the clear air of a store or station, `key`, to its rows.

    Where the folder of the exports is given, each reading has its file and line there. It goes by
    the rules of the last run, whose figures it explains.

    Raises:
        FolderMissing: there is no such folder.
        UnknownSelection: no station or store has this key.
        StationOfSeveral: stations of several stores have it, and none of these was chosen.
        NoStores: there was no run yet.
    """
    if exports is not None and not exports.is_dir():
        raise FolderMissing(exports)
    with session(request) as (database, settings):
        head = _run(database, request)
        found = database.records(TracedStation, "survey", "traced_stations", {"key": key})
        chosen = request.selection.stores
        found = [one for one in found if not chosen or one.store in chosen]
        if not found:
            known = database.column("audit", "known_stores")
            raise UnknownSelection("store or station", key, known)
        if found[0].store == key:
            yield head
            yield from _store(key, found)
            return
        if len(found) > 1:
            raise StationOfSeveral(key, [one.store for one in found])
        yield head
        yield from _station(database, settings, found[0], exports)


def _run(database: Database, request: Request) -> str:
    known = database.records(ThisRun, "run", "this_run")
    if not known:
        raise NoStores(request.database)
    said = f"Run {known[0].run} as of {known[0].as_of}, quietaisle {__version__}"
    return f"{said}; the formulas: docs/method.md"


def _store(store: str, stations: Sequence[TracedStation]) -> Iterator[str]:
    """Yield how a store's clear air follows from that of its stations."""
    installed = [one for one in stations if not one.to_install] or list(stations)
    yield ""
    yield f"Clear air of store {store}: the mean over its stations, each by its weight (its labels"
    yield "over the store's mean, at least 0.1; stations still to be installed count only alone)."
    yield ""
    header = ("station", "channel", "planned", "labels", "weight", "clear air now", "planned")
    rows = [
        (one.station, _text(one.channel), _text(one.channel_planned), str(one.labels),
         _number(one.weight), _number(one.now), _number(one.planned))
        for one in installed
    ]  # fmt: skip
    yield from _table(header, rows)
    for when, values in (
        ("now", [(one.now, one.weight) for one in installed]),
        ("planned", [(one.planned, one.weight) for one in installed]),
    ):
        yield ""
        yield _mean(when, [(value, w) for value, w in values if value is not None])
        known = [(value, one) for (value, _), one in zip(values, installed, strict=True)]
        worst = min((pair for pair in known if pair[0] is not None), key=_value, default=None)
        if worst is not None:
            yield f"weakest {when}: {worst[1].station}, {_number(worst[0])}"
    yield ""
    yield f"Each station's own: quietaisle explain {installed[0].station} --store {store}"


def _value(pair: tuple[float | None, TracedStation]) -> float:
    return 2.0 if pair[0] is None else pair[0]


def _mean(when: str, known: Sequence[tuple[float, float]]) -> str:
    total = fsum(weight for _, weight in known)
    if not known or total <= 0:
        return f"clear air {when}: not known"
    above = fsum(value * weight for value, weight in known)
    share = above / total
    return (
        f"clear air {when} = sum of weight x clear air / sum of weights"
        f" = {above:.6f} / {total:.6f} = {share:.6f}, printed {_percent(share)}"
    )


def _station(
    database: Database, settings: Settings, station: TracedStation, exports: Path | None
) -> Iterator[str]:
    """Yield how a station's clear air, today and as planned, follows from its readings."""
    figures = _figures(station)
    channels = sorted({one.channel for one in figures})
    found = traced(database, settings, station.store, station.station, channels)
    by_channel = {one.evidence.channel: one for one in found}
    for figure in figures:
        at = {"store": station.store, "station": station.station, "channel": figure.channel}
        own = database.records(TracedOwn, "survey", "traced_own", {**at, "planned": figure.planned})
        yield ""
        yield from _formula(station, figure, own, by_channel.get(figure.channel))
    if not found:
        return
    yield ""
    yield from _assumed(found[0])
    lines: tuple[ReadingLine, ...] = ()
    if exports is not None:
        place = (station.store, found[0].read_at)
        lines = lines_in(database, exports, settings, place, found[0].time_zone)
    for one in found:
        yield from _estimate(one)
        yield from _readings(one, None if exports is None else lines)
    yield ""
    yield from _files(database, exports)


def _figures(station: TracedStation) -> list[_Figure]:
    figures = []
    if station.channel is not None:
        figures.append(
            _Figure("now", station.channel, False, station.now, station.now_low, station.now_high)
        )
    if station.planned is not None and station.channel_planned is not None:
        ends = station.planned_low, station.planned_high
        figures.append(_Figure("as planned", station.channel_planned, True, station.planned, *ends))
    return figures


def _formula(
    station: TracedStation,
    figure: _Figure,
    own: Sequence[TracedOwn],
    known: TracedChannel | None,
) -> Iterator[str]:
    name = f"Clear air of station {station.station} of {station.store} {figure.when}"
    yield f"{name}, on channel {figure.channel}"
    if known is None or figure.value is None or known.evidence.busy_estimate is None:
        yield "  not known: no reading and no Wi-Fi survey tells how busy this channel is."
        return
    evidence = known.evidence
    left = prod(one.left for one in own)
    yield "  (1 - busy) x what the own stations in earshot leave free"
    for label, busy, printed in (
        ("estimate", evidence.busy_estimate, figure.value),
        ("low end", evidence.busy_high, figure.low),
        ("high end", evidence.busy_low, figure.high),
    ):
        if busy is not None and printed is not None:
            says = f"(1 - {busy:.6f}) x {left:.6f} = {(1 - busy) * left:.6f}"
            yield f"  {label:<9}{says}, printed {_percent(printed)}"
    yield "  Left free: the product of 1 - air x hit over the own stations up to two channels away"
    rows = [
        (_called(one, station.store), str(one.channel), f"{one.heard_dbm:.1f} dBm", one.source,
         _number(one.air_share), _number(one.hit), f"{one.left:.9f}")
        for one in own
    ]  # fmt: skip
    if not rows:
        yield "  none is that near: 1"
        return
    header = ("own station", "channel", "heard", "level", "air", "hit", "1 - air x hit")
    yield from _table(header, rows)


def _called(one: TracedOwn, store: str) -> str:
    return (
        one.neighbour
        if one.neighbour_store == store
        else f"{one.neighbour} of {one.neighbour_store}"
    )


def _assumed(known: TracedChannel) -> Iterator[str]:
    """Yield what holds over the portfolio: spreads, hours, the share of alike stations."""
    fit, assumed = known.portfolio, known.assumed
    yield "What holds over all stores (docs/method.md, sections 2 to 4)"
    yield f"  threshold {assumed.threshold_dbm:g} dBm; a visit ends after {assumed.gap_hours:g} h"
    yield (
        f"  spread of a visit {fit.visit_spread:.6f}, an hour {fit.hour_spread:.6f}, "
        f"a moment {fit.moment_spread:.6f}, outside the hours {fit.outside_spread:.6f}"
    )
    first, last = assumed.hours
    yield (
        f"  hours that matter {first} to {last}; half-life {assumed.half_life_days:g} days; "
        f"interval {assumed.interval:.0%}; stations alike {fit.alike:.6f}"
    )
    yield from _figures_in_lines("hour curve, 0 to 23 o'clock", fit.curve)


def _estimate(known: TracedChannel) -> Iterator[str]:
    """Yield the blocks and the prior that the busy share of a channel follows from."""
    evidence = known.evidence
    yield ""
    if evidence.busy_estimate is None:
        yield f"Busy share of channel {evidence.channel}: not known"
        return
    ends = f"{_number(evidence.busy_low)} to {_number(evidence.busy_high)} (section 6)"
    head = f"Busy share of channel {evidence.channel} = {evidence.busy_estimate:.6f}"
    yield f"{head}, interval {ends}: {evidence.basis}"
    if known.read_at != evidence.station:
        yield f"  read at {known.read_at}, the nearest place that was scanned"
    seen = "" if known.wifi_seen_at is None else f", seen {known.wifi_seen_at}"
    share = "none" if known.wifi_share is None else f"{known.wifi_share:.6f}{seen}"
    yield f"  Wi-Fi share {share}, {known.wifi_weeks} weeks old: prior of the group '{known.group}'"
    if known.left_free is not None:
        yield f"  our own traffic left {known.left_free:.6f} free then: that is taken off `busy`"
    prior = known.portfolio.priors[known.group]
    yield from _figures_in_lines("prior: never busy, then the grid", prior)
    if known.blocks:
        header = (
            "visit", "begins", "weeks", "hour", "kind", "dwell ms", "dBm", "readings", "busy",
            "still", "span s", "spread",
        )  # fmt: skip
        yield from _table(header, [_block(one, known) for one in known.blocks])


def _block(one: TracedBlock, known: TracedChannel) -> tuple[str, ...]:
    moments = [span for span, _ in known.assumed.moments]
    moment = next((at for at, span in enumerate(moments) if one.span_s <= span), len(moments))
    spread = block_spread(known.portfolio.model(), one.hour, moment, known.assumed)
    return (
        str(one.visit + 1), f"{one.begins:%Y-%m-%d %H:%M:%S}", str(one.weeks), str(one.hour),
        one.statistic, _number(one.dwell_ms), _text(one.level_dbm), str(one.readings),
        str(one.busy), _number(one.still), f"{one.span_s:g}", f"{spread:.6f}",
    )  # fmt: skip


def _readings(known: TracedChannel, lines: Sequence[ReadingLine] | None) -> Iterator[str]:
    """Yield the readings that count for a channel, with file and line where files were read."""
    if not known.readings:
        return
    channel = known.evidence.channel
    placed: defaultdict[tuple[object, ...], list[ReadingLine]] = defaultdict(list)
    for line in lines or ():
        if line.channel == channel:
            placed[line.store_time, line.level_dbm, line.statistic, line.dwell_ms].append(line)
    yield ""
    yield f"Readings of channel {channel} that count, on the store's clock"
    header = ("moment", "dBm", "kind", "busy", "file and line")
    rows = []
    for one in known.readings:
        rows += [_reading(one, place) for place in _places(one, placed, lines is not None)]
    yield from _table(header if lines is not None else header[:-1], rows)


def _places(
    one: TracedReading, placed: Mapping[tuple[object, ...], Sequence[ReadingLine]], asked: bool
) -> list[str | None]:
    """Return where each of some equal readings stands; a file that repeats it adds nothing."""
    key = (one.store_time, one.level_dbm, one.statistic, one.dwell_ms)
    found = [f"{line.file}, line {line.line}" for line in placed.get(key, ())]
    missing = "in no file of the folder" if asked else None
    return [found[at] if at < len(found) else missing for at in range(one.readings)]


def _reading(one: TracedReading, place: str | None) -> tuple[str, ...]:
    row = (
        f"{one.store_time:%Y-%m-%d %H:%M:%S}", f"{one.level_dbm:g}", one.statistic,
        "yes" if one.above else "no",
    )  # fmt: skip
    return row if place is None else (*row, place)


def _files(database: Database, exports: Path | None) -> Iterator[str]:
    yield "Files of readings that the database took in, with their SHA-256"
    for one in readings_files(database):
        yield f"  {one.sha256}  {one.file}, {one.rows_loaded} rows"
    if exports is None:
        yield "Name their folder with --exports to see the line of each reading."


def _figures_in_lines(title: str, figures: Sequence[float]) -> Iterator[str]:
    yield f"  {title}:"
    for first in range(0, len(figures), _ROW):
        yield "   " + " ".join(f"{value:>12.9f}" for value in figures[first : first + _ROW])


def _table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Yield a table in columns two blanks apart."""
    widths = [max(map(len, column)) for column in zip(header, *rows, strict=True)]
    for row in (header, *rows):
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        yield f"  {'  '.join(cells)}".rstrip()


def _percent(share: float) -> str:
    """Return a share as the pages print it."""
    return worded_in(DEFAULT_LANGUAGE).percent(share)


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.6f}"


def _text(value: object) -> str:
    return "-" if value is None else str(value)
