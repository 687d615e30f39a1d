"""What stores want: where to scan next, what to order and whom to ask, the orders first."""

from collections.abc import Sequence

from pipeline.report.kit.booklet import Block
from pipeline.report.kit.column import Look, SheetColumn
from pipeline.report.kit.lists import PrintedColumn, block_of, draw_rows, list_height, printed_list
from pipeline.report.kit.pen import HEADING_H, Box, Pen
from pipeline.report.kit.tags import Role
from pipeline.report.region.content import RegionContent
from pipeline.report.region.wanted import StoreToScan, ToAsk, ToOrder
from pipeline.report.store.asked import change_line, where
from pipeline.report.store.scans import quiet_word
from pipeline.wording import NOTHING, Wording

_MOST = 12  # on paper; the workbook has all
_Needed = ToOrder | ToAsk


def _what(one: _Needed, words: Wording) -> str:
    if isinstance(one, ToOrder):
        return f"{words(f'place_verdict.{one.verdict}')}: {where(one, words)}"
    return change_line(one, words)


def _brings(one: _Needed, words: Wording) -> str:
    if isinstance(one, ToOrder):
        return words(
            "needed.effect_labels",
            labels=words.number(one.rescued),
            low=words.number(one.rescued_low),
            high=words.number(one.rescued_high),
        )
    return words(
        "needed.effect_air",
        gain=words.points(one.plan_gives),
        low=words.points(one.plan_gives_low),
        high=words.points(one.plan_gives_high),
    )


_PRINTED: tuple[PrintedColumn[_Needed], ...] = (
    PrintedColumn(lambda one, _: f"{one.store} {one.name}", "needed.column_store", 1.2),
    PrintedColumn(_what, "needed.column_what", 2.6),
    PrintedColumn(_brings, "needed.column_effect", 1.5),
)
NEEDED: tuple[SheetColumn[_Needed], ...] = (
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 36),
    SheetColumn(_what, Look.LONG, "needed.column_what", 70),
    SheetColumn(_brings, Look.LONG, "needed.column_effect", 40),
)


def needed_rows(content: RegionContent, width: float, words: Wording) -> Block:
    """Return what to order and whom to ask, the best of each first; without rows if nothing."""
    orders, requests = len(content.orders), len(content.requests)
    first = min(orders, max(_MOST // 2, _MOST - requests))
    shown = [*content.needed[:first], *content.needed[orders : orders + _MOST - first]]
    hidden = len(content.needed) - len(shown)
    note = words.counted("more.workbook", hidden) if hidden else words("needed.columns_note")
    printed = printed_list(
        words, _PRINTED, shown, title=words("needed.title"), note=note, nothing=""
    )
    return block_of("needed", printed, width)


_PRINTED_MOST = 24  # stores on the pages; the workbook has all

SCANS: tuple[SheetColumn[StoreToScan], ...] = (
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 36),
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn("points", Look.FINE, "scan.column_worth"),
    SheetColumn("visits", Look.COUNT, "scan.column_visits"),
    SheetColumn("so_far", Look.COUNT, "scan.column_so_far"),
    SheetColumn("stations", Look.COUNT, "scan.column_stations"),
    SheetColumn("hours", Look.TEXT, "scan.column_hours"),
    SheetColumn(quiet_word, Look.LONG, "scan.column_quiet", 30),
    SheetColumn("unsettled", Look.PERCENT, "scan.column_unsettled"),
    SheetColumn("next_night", Look.DAY, "scan.column_night"),
)
_TO_SCAN: tuple[PrintedColumn[StoreToScan], ...] = (
    PrintedColumn(lambda one, _: f"{one.store} {one.name}", "row.store", 2.1),
    PrintedColumn(
        lambda one, words: words.number(one.points, 2), "scan.column_worth", 0.9, right=True
    ),
    PrintedColumn(lambda one, words: words.number(one.visits), "scan.column_days", 0.6, right=True),
    PrintedColumn(
        lambda one, words: words.number(one.so_far), "scan.column_so_far", 0.7, right=True
    ),
    PrintedColumn(
        lambda one, words: words.number(one.stations), "scan.column_stations", 0.7, right=True
    ),
    PrintedColumn(lambda one, _: one.hours, "scan.column_hours", 0.9),
    PrintedColumn(quiet_word, "scan.column_own", 1.0),
    PrintedColumn(
        lambda one, words: NOTHING if one.next_night is None else words.day(one.next_night),
        "scan.column_night", 1.0, right=True,
    ),
)  # fmt: skip


def scan_rows(
    content: RegionContent, width: float, words: Wording, most: int | None = None
) -> Block:
    """Return the stores to scan next, as many as a team's month takes; empty where none is."""
    shown = content.scans[: most or _PRINTED_MOST]
    more = len(content.scans) - len(shown)
    note = words("scan.chain_note")
    if more:
        note = f"{note}; {words.counted('more.workbook', more)}"
    printed = printed_list(
        words, _TO_SCAN, shown, title=words("scan.chain_title"), note=note, nothing=""
    )
    heights = tuple(printed.height(number, width) for number in range(len(printed.rows)))
    lead = list_height(printed, width) - HEADING_H - sum(heights)

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        with pen.part(Role.TABLE):
            draw_rows(pen, box, printed, items[0], items[-1] + 1)

    return Block("scans", printed.title, 1, lead, heights, draw, printed.note)
