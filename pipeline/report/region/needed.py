"""What to order and whom to ask in a region or the chain: one list, the orders first."""

from pipeline.report.kit.booklet import Block
from pipeline.report.kit.lists import PrintedColumn, block_of, printed_list
from pipeline.report.kit.sheet import Look, SheetColumn
from pipeline.report.region.content import RegionContent
from pipeline.report.region.wanted import ToAsk, ToOrder
from pipeline.report.store.asked import change_line, where
from pipeline.wording import Wording

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
