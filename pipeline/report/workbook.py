"""The change plan as a workbook: where a store's changes are read, filtered and worked off."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from pipeline import __version__
from pipeline.report import style
from pipeline.report.content import Move, Pair, Station, StoreContent
from pipeline.report.fill_in import decisions, lock, move_copies, put_copy, put_form, results
from pipeline.report.heat_map import put_heat_map
from pipeline.report.overview import put_overview
from pipeline.report.sheet import Book, Column, Look, Page, Value, put_list, writable
from pipeline.report.wording import Wording, wording
from pipeline.xlsx import workbook_bytes

_TITLE_LETTERS = 250


def workbook(content: StoreContent) -> bytes:
    """Return the change plan of one store as .xlsx: the same content gives the same bytes.

    Tab names are the same in every language: a workbook that comes back is read by them.
    """
    words = wording(content.store.country)
    title = words("document.title", store=content.store.store, name=content.store.name)
    book = Book(words, style.page_size(content.store.country))
    properties = book.book.properties
    properties.title = writable(title)[:_TITLE_LETTERS]
    properties.subject = words("workbook.subject")
    properties.creator = words("document.author")
    properties.keywords = content.plan.plan if content.plan else None
    properties.description = words("document.made_with", version=__version__)
    put_overview(book, book.sheet("Summary", title, landscape=False), content)
    copies = move_copies(_moves(book, book.sheet("Moves", title), content))
    for sheet in (decisions(book, content), results(book, content)):
        page = book.sheet(sheet.form.sheet, title)
        copies += put_form(book, page, sheet, content)
    put_heat_map(book, book.sheet("Channels", title), content)
    _findings(book, book.sheet("Findings", title), content)
    _evidence(book, book.sheet("Evidence", title), content)
    _stations(book, book.sheet("Stations", title), content)
    put_copy(book, content, copies)
    for one in book.book.worksheets:
        lock(one)
    return workbook_bytes(book.book)


def move_columns(words: Wording) -> tuple[Column, ...]:
    """Return the columns of the list of changes."""
    return (
        Column(words("column.order"), Look.COUNT),
        Column(words("column.station"), Look.LONG, 30),
        Column(words("column.station_name"), Look.LONG, 30),
        Column(words("column.mounted"), Look.LONG, 34),
        Column(words("column.from"), Look.COUNT),
        Column(words("column.to"), Look.COUNT),
        Column(words("column.kind")),
        Column(words("column.reason"), Look.LONG, 56),
        Column(words("column.clear_before"), Look.PERCENT),
        Column(words("column.clear_after"), Look.PERCENT),
        Column(words("column.confidence")),
        Column(words("column.window"), Look.LONG, 30),
        Column(words("column.minutes"), Look.COUNT),
        Column(words("column.back_out"), Look.COUNT),
    )


def _moves(book: Book, page: Page, content: StoreContent) -> list[tuple[Value, ...]]:
    stations = {station.station: station for station in content.stations}
    rows = [_move(move, stations, book.words) for move in content.moves]
    put_list(book, page, move_columns(book.words), rows)
    return rows


def _move(move: Move, stations: Mapping[str, Station], words: Wording) -> tuple[Value, ...]:
    station = stations.get(move.station)
    sureness = station.sureness if station else None
    return (
        move.position,
        move.station,
        station.name if station else None,
        station.mounted if station else None,
        move.from_channel,
        move.to_channel,
        words("moves.parking" if move.parking else "moves.final"),
        move.reason,
        move.clear_air_before,
        move.clear_air_after,
        words(f"sureness.{sureness}") if sureness else None,
        _window(move, words),
        move.minutes,
        station.channel if station and station.channel is not None else move.from_channel,
    )


def _window(move: Move, words: Wording) -> str | None:
    """Return the night of a move, on the store's own clock; none where it has no night yet."""
    if move.starts_at is None or move.ends_at is None:
        return None
    night = words("moves.window", start=words.moment(move.starts_at), end=f"{move.ends_at:%H:%M}")
    return words("moves.provisional", window=night) if move.provisional else night


def _findings(book: Book, page: Page, content: StoreContent) -> None:
    words = book.words
    columns = (
        Column(words("column.severity")),
        Column(words("column.title"), Look.LONG, 36),
        Column(words("column.subject"), Look.LONG, 24),
        Column(words("column.detail"), Look.LONG, 70),
        Column(words("column.exception"), Look.LONG, 36),
        Column(words("column.rule")),
    )
    rows = [
        (
            words(f"severity.{finding.severity}"),
            finding.title,
            finding.subject,
            finding.detail,
            finding.excepted,
            finding.rule,
        )
        for finding in content.findings
    ]
    put_list(book, page, columns, rows)


def _evidence(book: Book, page: Page, content: StoreContent) -> None:
    words = book.words
    columns = (
        Column(words("column.station"), Look.LONG, 30),
        Column(words("column.channel"), Look.COUNT),
        Column(words("column.readings"), Look.COUNT),
        Column(words("column.worth"), Look.LEVEL),
        Column(words("column.busy_share"), Look.PERCENT),
        Column(words("column.busy_bound"), Look.PERCENT),
        Column(words("column.mean"), Look.LEVEL),
        Column(words("column.p50"), Look.LEVEL),
        Column(words("column.p90"), Look.LEVEL),
        Column(words("column.p99"), Look.LEVEL),
        Column(words("column.own_traffic")),
        Column(words("column.source")),
        Column(words("column.newest"), Look.MOMENT),
        Column(words("column.basis"), Look.LONG, 44),
    )
    answers = {True: words("answer.yes"), False: words("answer.no")}
    sources = {key: words(f"source.{key}") for key in ("measured", "inferred", "absent")}
    rows = [
        (
            cell.station,
            cell.channel,
            cell.readings,
            cell.worth,
            cell.busy_share,
            cell.busy_bound,
            cell.mean_dbm,
            cell.p50_dbm,
            cell.p90_dbm,
            cell.p99_dbm,
            answers[cell.own_traffic],
            sources.get(cell.source, cell.source),
            cell.newest_at,
            cell.basis,
        )
        for cell in content.air
    ]
    put_list(book, page, columns, rows)


def _stations(book: Book, page: Page, content: StoreContent) -> None:
    words = book.words
    columns = (
        Column(words("column.station"), Look.LONG, 30),
        Column(words("column.station_name"), Look.LONG, 30),
        Column(words("column.mounted"), Look.LONG, 34),
        Column(words("column.floor"), Look.COUNT),
        Column(words("column.x"), Look.LEVEL),
        Column(words("column.y"), Look.LEVEL),
        Column(words("column.channel"), Look.COUNT),
        Column(words("column.planned"), Look.COUNT),
        Column(words("column.clear_before"), Look.PERCENT),
        Column(words("column.clear_after"), Look.PERCENT),
        Column(words("column.confidence")),
        Column(words("column.next_best"), Look.COUNT),
        Column(words("column.reason"), Look.LONG, 60),
        Column(words("column.labels"), Look.COUNT),
        Column(words("column.weak"), Look.COUNT),
        Column(words("column.silent"), Look.COUNT),
        Column(words("column.lone"), Look.COUNT),
        Column(words("column.air_share"), Look.PERCENT),
        Column(words("column.power"), Look.LEVEL),
        Column(words("column.pan_id")),
        Column(words("column.eui64"), Look.LONG),
        Column(words("column.ip"), Look.LONG),
        Column(words("column.port"), Look.TEXT),
        Column(words("column.firmware"), Look.LONG, 24),
        Column(words("column.hardware"), Look.LONG, 24),
        Column(words("column.connected")),
        Column(words("column.sharing_now"), Look.LONG, 30),
        Column(words("column.sharing_planned"), Look.LONG, 30),
    )
    now, planned = _sharing(content.figures.shared_now), _sharing(content.figures.shared_planned)
    rows = [
        (*_station(s, words), now.get(s.station), planned.get(s.station)) for s in content.stations
    ]
    put_list(book, page, columns, rows)


def _sharing(pairs: Sequence[Pair]) -> Mapping[str, str]:
    """Return for each station the names of those in earshot on its channel."""
    names: dict[str, list[str]] = defaultdict(list)
    for pair in pairs:
        names[pair.station].append(pair.neighbour)
        names[pair.neighbour].append(pair.station)
    return {station: ", ".join(sorted(others)) for station, others in names.items()}


def _station(station: Station, words: Wording) -> tuple[Value, ...]:
    connected = {True: words("answer.yes"), False: words("answer.no"), None: None}
    return (
        station.station,
        station.name,
        station.mounted,
        station.floor,
        station.x_m,
        station.y_m,
        station.channel,
        station.channel_planned,
        station.clear_air_now,
        station.clear_air_planned,
        words(f"sureness.{station.sureness}") if station.sureness else None,
        station.next_best_channel,
        station.reason,
        station.labels,
        station.weak_labels,
        station.silent_labels,
        station.lone_labels,
        station.air_share,
        station.tx_power_dbm,
        None if station.pan_id is None else f"0x{station.pan_id:04X}",
        station.eui64,
        station.ip_address,
        station.port,
        station.firmware,
        station.hardware,
        connected[station.connected],
    )
