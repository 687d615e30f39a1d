"""Where to scan next: the stores by what a visit is worth, so that a team's month can be filled."""

from collections.abc import Sequence

from pipeline.report.kit.booklet import Block
from pipeline.report.kit.lists import PrintedColumn, draw_rows, list_height, printed_list
from pipeline.report.kit.pen import HEADING_H, Box, Pen
from pipeline.report.kit.sheet import Look, SheetColumn
from pipeline.report.kit.tags import Role
from pipeline.report.region.content import RegionContent
from pipeline.report.region.wanted import StoreToScan
from pipeline.wording import NOTHING, Wording

_PRINTED_MOST = 24  # stores on the pages; the workbook has all

SCANS: tuple[SheetColumn[StoreToScan], ...] = (
    SheetColumn("store", Look.TEXT, "row.store"),
    SheetColumn("name", Look.LONG, "column.station_name", 36),
    SheetColumn("region", Look.TEXT, "audit.column_region"),
    SheetColumn("points", Look.FINE, "scan.column_worth"),
    SheetColumn("visits", Look.COUNT, "scan.column_visits"),
    SheetColumn("so_far", Look.COUNT, "scan.column_so_far"),
    SheetColumn("stations", Look.COUNT, "scan.column_stations"),
    SheetColumn("unsettled", Look.PERCENT, "scan.column_unsettled"),
    SheetColumn("next_night", Look.DAY, "scan.column_night"),
)
_PRINTED: tuple[PrintedColumn[StoreToScan], ...] = (
    PrintedColumn(lambda one, _: f"{one.store} {one.name}", "row.store", 2.4),
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
    PrintedColumn(
        lambda one, words: words.percent(one.unsettled), "scan.column_unsettled", 0.9, right=True
    ),
    PrintedColumn(
        lambda one, words: NOTHING if one.next_night is None else words.day(one.next_night),
        "scan.column_night", 1.0, right=True,
    ),
)  # fmt: skip


def scan_rows(content: RegionContent, width: float, words: Wording) -> Block:
    """Return the stores to scan next, as many as a team's month takes; empty where none is."""
    shown = content.scans[:_PRINTED_MOST]
    more = len(content.scans) - len(shown)
    note = words("scan.chain_note")
    if more:
        note = f"{note}; {words.counted('more.workbook', more)}"
    printed = printed_list(
        words, _PRINTED, shown, title=words("scan.chain_title"), note=note, nothing=""
    )
    heights = tuple(printed.height(number, width) for number in range(len(printed.rows)))
    lead = list_height(printed, width) - HEADING_H - sum(heights)

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        with pen.part(Role.TABLE):
            draw_rows(pen, box, printed, items[0], items[-1] + 1)

    return Block("scans", printed.title, 1, lead, heights, draw, printed.note)
