"""The change plan of a store as a workbook: changes, forms, and everything they rest on."""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from pipeline.records import Severity
from pipeline.report.kit import style
from pipeline.report.kit.column import WIDEST, Look, SheetColumn, Value, worded, yes_no
from pipeline.report.kit.first_sheet import FirstSheet
from pipeline.report.kit.sheet import Book, Page, put_list
from pipeline.report.store.air import put_heat_map
from pipeline.report.store.asked import PLACES, REQUESTS, summary_lines
from pipeline.report.store.content import (
    CAUTIONS,
    READING,
    EarshotPair,
    PlannedMove,
    PlannedStation,
    Rated,
    StoreContent,
    StoreFinding,
)
from pipeline.report.store.followed import OUTCOMES
from pipeline.report.store.form_rows import commission_rows, move_copies
from pipeline.report.store.forms import (
    commissioning,
    decisions,
    lock,
    put_copy,
    put_form,
    results,
)
from pipeline.report.store.found import found_lines, inventory
from pipeline.report.store.next_door import NEXT_DOOR, next_door_lines
from pipeline.report.store.scans import SCANS, scan_line
from pipeline.report.store.verdict import asked, beside, evidence_lines, verdict
from pipeline.report.store.what_if import what_if_form
from pipeline.tables.declare import column_of
from pipeline.tables.exports import StationSeen
from pipeline.tables.survey import EdEvidence
from pipeline.wording import NOTHING, Wording, wording
from pipeline.xlsx import workbook_bytes

_FIRST_WIDTHS = (40, 62)
Row = TypeVar("Row")
_LOOKS = {
    "boolean": Look.TEXT, "date": Look.DAY, "double": Look.LEVEL, "integer": Look.COUNT,
    "varchar": Look.LONG,
}  # fmt: skip
_SHEETS = (
    "moves",
    "decisions",
    "results",
    "commissioning",
    "inventory",
    "channels",
    "findings",
    "evidence",
    "stations",
    "scan_next",
    "next_door",
    "further_places",
    "wi-fi_requests",
    "what_if",
    "outcome",
    "glossary",
)


@dataclass(frozen=True, slots=True)
class MoveRow:
    """A change and its station; None if no export names it any more."""

    move: PlannedMove
    station: PlannedStation | None

    @property
    def back_out_channel(self) -> int | None:
        """The channel to go back to; None: the station is set for the first time."""
        now = self.station.channel if self.station else None
        return self.move.from_channel if now is None else now


@dataclass(frozen=True, slots=True)
class StationRow:
    """A station and the stations in earshot on its channel, now and as planned."""

    station: PlannedStation
    sharing_now: str | None
    sharing_planned: str | None


def _kind(row: MoveRow, words: Wording) -> Value:
    return words(f"moves.{row.move.kind}")


def _window(row: MoveRow, words: Wording) -> Value:
    """Return the night of a change in local time, or None if it has none yet."""
    move = row.move
    if move.starts_at is None or move.ends_at is None:
        return None
    night = words("moves.window", start=words.moment(move.starts_at), end=f"{move.ends_at:%H:%M}")
    return words("moves.provisional", window=night) if move.provisional else night


def _pan_id(row: StationRow, _: Wording) -> Value:
    return None if row.station.pan_id is None else f"0x{row.station.pan_id:04X}"


def _seen(name: str, widest: int = WIDEST, look: Look | None = None) -> SheetColumn[StationRow]:
    """Return a column of the stations export, looking as its type asks and headed as declared."""
    field, declared = f"station.{name}", column_of(StationSeen, name)
    shows = yes_no(field) if declared.sql == "boolean" else field
    return SheetColumn(shows, look or _LOOKS[declared.sql], f"station_seen.{name}", widest)


MOVES: tuple[SheetColumn[MoveRow], ...] = (
    SheetColumn("move.position", Look.COUNT, "column.order"),
    SheetColumn("move.station", Look.LONG, "column.station", 20),
    SheetColumn("station.name", Look.LONG, "column.station_name", 20),
    SheetColumn("station.mounted", Look.LONG, "column.mounted", 20),
    SheetColumn("move.from_channel", Look.COUNT, "column.from"),
    SheetColumn("move.to_channel", Look.COUNT, "column.to"),
    SheetColumn(_kind, Look.TEXT, "column.kind"),
    SheetColumn("move.reason", Look.LONG, "column.reason", 46),
    SheetColumn("move.clear_air_before", Look.PERCENT, "column.clear_before"),
    SheetColumn("move.clear_air_after", Look.PERCENT, "column.clear_after"),
    SheetColumn(worded("sureness", "station.sureness"), Look.TEXT, "column.confidence"),
    SheetColumn(_window, Look.LONG, "column.window", 18),
    SheetColumn("move.minutes", Look.COUNT, "column.minutes"),
    SheetColumn("back_out_channel", Look.COUNT, "column.back_out"),
)


FINDINGS: tuple[SheetColumn[StoreFinding], ...] = (
    SheetColumn(worded("severity", "severity"), Look.TEXT, "column.severity"),
    SheetColumn("title", Look.LONG, "column.title", 36),
    SheetColumn("subject", Look.LONG, "column.subject", 24),
    SheetColumn("detail", Look.LONG, "column.detail", 70),
    SheetColumn("excepted", Look.LONG, "column.exception", 36),
    SheetColumn("rule", Look.TEXT, "column.rule"),
)
EVIDENCE: tuple[SheetColumn[EdEvidence], ...] = (
    SheetColumn("station", Look.LONG, "column.station", 30),
    SheetColumn("channel", Look.COUNT, "column.channel"),
    SheetColumn("readings", Look.COUNT, "column.readings"),
    SheetColumn("worth", Look.LEVEL, "column.worth"),
    SheetColumn("visits", Look.COUNT, "column.visits"),
    SheetColumn("busy_estimate", Look.PERCENT, "column.busy_estimate"),
    SheetColumn("busy_low", Look.PERCENT, "column.busy_low"),
    SheetColumn("busy_high", Look.PERCENT, "column.busy_high"),
    SheetColumn("frames_lost", Look.PERCENT, "column.frames_lost"),
    SheetColumn("mean_dbm", Look.LEVEL, "column.mean"),
    SheetColumn("p50_dbm", Look.LEVEL, "column.p50"),
    SheetColumn("p90_dbm", Look.LEVEL, "column.p90"),
    SheetColumn("p99_dbm", Look.LEVEL, "column.p99"),
    SheetColumn(yes_no("own_traffic"), Look.TEXT, "column.own_traffic"),
    SheetColumn(worded("source", "source"), Look.TEXT, "column.source"),
    SheetColumn("newest_at", Look.MOMENT, "column.newest"),
    SheetColumn("wifi", Look.TEXT, "column.wifi"),
)
_STATUS = _seen("status")
_HOUSING: SheetColumn[StationRow] = SheetColumn("station.housing", Look.LONG, "column.housing", 30)
STATIONS: tuple[SheetColumn[StationRow], ...] = (
    SheetColumn("station.station", Look.LONG, "column.station", 30),
    SheetColumn("station.name", Look.LONG, "column.station_name", 30),
    SheetColumn("station.mounted", Look.LONG, "column.mounted", 34),
    _seen("floor"),
    _seen("x_m"),
    _seen("y_m"),
    SheetColumn("station.channel", Look.COUNT, "column.channel"),
    SheetColumn("station.channel_planned", Look.COUNT, "column.planned"),
    SheetColumn("station.clear_air_now", Look.PERCENT, "column.clear_before"),
    SheetColumn("station.clear_air_planned", Look.PERCENT, "column.clear_after"),
    SheetColumn(worded("sureness", "station.sureness"), Look.TEXT, "column.confidence"),
    SheetColumn("station.kept", Look.PERCENT, "column.kept"),
    SheetColumn("station.next_best_channel", Look.COUNT, "column.next_best"),
    SheetColumn("station.next_best_cost", Look.TENTHS, "column.refusing"),
    SheetColumn("station.reason", Look.LONG, "column.reason", 60),
    SheetColumn("station.labels", Look.COUNT, "column.labels"),
    SheetColumn("station.weak_labels", Look.COUNT, "column.weak"),
    SheetColumn("station.silent_labels", Look.COUNT, "column.silent"),
    SheetColumn("station.lone_labels", Look.COUNT, "column.lone"),
    SheetColumn("station.air_share", Look.PERCENT, "column.air_share"),
    _seen("tx_power_dbm"),
    SheetColumn(_pan_id, Look.TEXT, "station_seen.pan_id"),
    _seen("eui64"),
    _seen("ip_address"),
    _seen("port", look=Look.TEXT),
    _seen("firmware", 24),
    _seen("hardware", 24),
    _seen("connected"),
    _STATUS,
    _HOUSING,
    SheetColumn("sharing_now", Look.LONG, "column.sharing_now", 30),
    SheetColumn("sharing_planned", Look.LONG, "column.sharing_planned", 30),
)
GLOSSARY: tuple[SheetColumn[str], ...] = (
    SheetColumn(lambda term, words: words(f"glossary.{term}"), Look.LONG, "column.term", 26),
    SheetColumn(lambda term, words: words(f"meaning.{term}"), Look.LONG, "column.meaning", 76),
)


def workbook(content: StoreContent) -> bytes:
    """Return the change plan of one store as .xlsx; the same content gives the same bytes.

    Tab names are the same in every language, because a returned workbook is read by them.
    """
    store = content.store
    words = wording(store.country)
    title = words("document.title", store=store.store, name=store.name)
    book = Book(words, style.page_size(store.country), content.seal, content.inputs)
    plan = content.plan.plan if content.plan else None
    book.describe(title, subject=words("workbook.subject"), keywords=plan)
    _summary(book, book.sheet("Summary", title, landscape=False), content)
    stations = {station.station: station for station in content.stations}
    moves = [MoveRow(move, stations.get(move.station)) for move in content.moves]
    nothing = words("results.none")
    copies = move_copies(put_list(book, book.sheet("Moves", title), MOVES, moves, nothing))
    filled = [decisions(book, content), results(book, content)]
    if commission_rows(content):
        filled.append(commissioning(book, content))
    if content.found:
        filled.append(inventory(book, content))
    for form in filled:
        copies += put_form(book, book.sheet(form.form.sheet, title), form, content)
    put_heat_map(book, book.sheet("Channels", title), content)
    put_list(
        book, book.sheet("Findings", title), FINDINGS, content.findings, words("findings.none")
    )
    put_list(book, book.sheet("Evidence", title), EVIDENCE, content.air, words("empty.evidence"))
    needed = {
        _STATUS: content.figures.to_install,
        _HOUSING: any(s.housing for s in content.stations),
    }
    columns = [column for column in STATIONS if needed.get(column, True)]
    nothing = words("empty.stations")
    put_list(book, book.sheet("Stations", title), columns, _station_rows(content), nothing)
    _put_some(book, "Scan next", SCANS, content.scans, title)
    _put_some(book, "Next door", NEXT_DOOR, content.neighbours.rows, title)
    _put_some(book, "Further places", PLACES, content.asked.places, title)
    _put_some(book, "Wi-Fi requests", REQUESTS, content.asked.wifi, title)
    if wishes := what_if_form(book, content):
        put_form(book, book.sheet("What if", title, landscape=False), wishes, content)
    _put_some(book, "Outcome", OUTCOMES, content.outcomes, title)
    page = book.sheet("Glossary", title, landscape=False)
    put_list(book, page, GLOSSARY, words.group("glossary"))
    put_copy(book, content, copies)
    for sheet in book.book.worksheets:
        lock(sheet)
    return workbook_bytes(book.book)


def _put_some(
    book: Book, name: str, columns: Sequence[SheetColumn[Row]], rows: Sequence[Row], title: str
) -> None:
    """Write a sheet of a list that most stores have nothing of."""
    if rows:
        put_list(book, book.sheet(name, title), columns, rows)


def _station_rows(content: StoreContent) -> list[StationRow]:
    now, planned = _sharing(content.figures.shared_now), _sharing(content.figures.shared_planned)
    return [
        StationRow(one, now.get(one.station), planned.get(one.station)) for one in content.stations
    ]


def _sharing(pairs: Sequence[EarshotPair]) -> Mapping[str, str]:
    """Return for each station the names of those in earshot on its channel."""
    names: dict[str, list[str]] = defaultdict(list)
    for pair in pairs:
        names[pair.station].append(pair.neighbour)
        names[pair.neighbour].append(pair.station)
    return {station: ", ".join(sorted(others)) for station, others in names.items()}


def _summary(book: Book, page: Page, content: StoreContent) -> None:
    words = book.words
    sheet = FirstSheet(book, page, words("summary.title"), _FIRST_WIDTHS)
    near = next_door_lines(content.neighbours, words)
    for note in filter(
        None, (asked(content, words), verdict(content, words), beside(content, words), *near)
    ):
        sheet.note(note)
    some = {"commissioning": commission_rows(content), "outcome": content.outcomes,
            "next_door": content.neighbours.rows, "scan_next": content.scans,
            "inventory": content.found,
            "further_places": content.asked.places,
            "wi-fi_requests": content.asked.wifi,
            "what_if": content.scans or content.asked.needed}  # fmt: skip
    names = [name for name in _SHEETS if some.get(name, True)]
    sheets = [(words(f"tab.{name}"), words(f"summary.sheet_{name}")) for name in names]
    for title, lines in (
        ("summary.store", _store_lines(content, words)),
        ("summary.figures", _figure_lines(content, words)),
        ("evidence.title", [*evidence_lines(content, words), *_cost_lines(content, words)]),
        ("needed.title", summary_lines(content.asked, words)),
        ("summary.sheets", sheets),
    ):
        if not lines:
            continue
        sheet.section(words(title))
        for label, value in lines:
            sheet.line((label, Look.TEXT), (value, Look.LONG))
    for group, keys in (("cautions", CAUTIONS), ("reading", READING)):
        sheet.section(words(f"{group}.title"))
        for key in keys:
            sheet.note(words(f"{group}.{key}"))
    sheet.end()


def _store_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    store = content.store
    return [
        (words("summary.store"), store.store),
        (words("summary.name"), store.name),
        (words("summary.region"), store.region),
        (words("summary.country"), store.country or NOTHING),
        (words("summary.store_type"), store.store_type or NOTHING),
        (words("summary.time_zone"), store.time_zone or NOTHING),
        (words("summary.seen"), words.day(store.last_seen_on)),
        (words("summary.permitted"), ", ".join(map(str, content.permitted)) or NOTHING),
    ]


def _figure_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    figures = content.figures
    labels = (figures.labels, figures.weak_labels, figures.silent_labels, figures.lone_labels)
    grades = (figures.findings[grade] for grade in Severity)
    return [
        (words("summary.stations"), words.number(figures.stations)),
        *(
            [(words("summary.to_install"), words.number(figures.to_install))]
            if figures.to_install
            else []
        ),
        *found_lines(content, words),
        (words("summary.moved"), words.number(figures.stations_moved)),
        (words("summary.steps"), words.number(figures.steps)),
        (words("summary.parking"), words.number(figures.parking_steps)),
        (words("summary.clear_now"), words.percent(figures.clear_air_now)),
        (words("summary.clear_planned"), words.percent(figures.clear_air_planned)),
        (words("summary.weakest_now"), _rated(figures.weakest_now, words)),
        (words("summary.weakest_planned"), _rated(figures.weakest_planned, words)),
        (words("summary.shared_now"), words.number(len(figures.shared_now))),
        (words("summary.shared_planned"), words.number(len(figures.shared_planned))),
        (words("summary.findings"), _joined(map(words.number, grades))),
        (words("summary.excepted"), words.number(figures.excepted)),
        (words("summary.labels"), _joined(map(words.number, labels))),
    ]


def _cost_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    proof = content.proof
    if proof is None:
        return []
    costs = (proof.cost_now, proof.cost, proof.bound)
    solvers = [words.named("solver", one) for one in proof.solver.split(", ")]
    return [
        (words("summary.solver"), ", ".join(solvers)),
        *([(words("summary.check"), words("summary.check_how"))] if proof.optimal else []),
        (words("summary.cost"), _joined(words.number(cost, 3) for cost in costs)),
        *([(words("summary.ask"), _asked(proof.ask, words))] if proof.ask else []),
        *([(words("scan.title"), scanned)] if (scanned := _scanned(content, words)) else []),
    ]


def _scanned(content: StoreContent, words: Wording) -> str:
    return scan_line(content.unsettled, content.scans, words)


def _asked(text: str, words: Wording) -> str:
    """Return the measurement that would tell most; as an earlier version wrote it, in English."""
    if not text.startswith("{"):
        return text
    facts = json.loads(text)
    return words(f"ask.{facts.pop('ask')}", **facts)


def _rated(rated: Rated | None, words: Wording) -> str:
    if rated is None:
        return NOTHING
    return words("summary.weakest_value", station=rated.station, clear=words.percent(rated.value))


def _joined(texts: Iterator[str]) -> str:
    return " · ".join(texts)
