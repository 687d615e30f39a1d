"""What reports say of changes made: the labels that are back or not, and the updates they take."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from openpyxl.worksheet.dimensions import RowDimension

from pipeline.forms import CHANGE, LIST_BELOW
from pipeline.report.kit.column import Look, SheetColumn, Value
from pipeline.report.kit.lists import PrintedColumn, PrintedList, printed_list
from pipeline.report.kit.sheet import Book, Page
from pipeline.tables.changes import ChangeLabels, LabelBehind
from pipeline.wording import Wording

_NAMED = 3  # changes in a note; more are counted
_PRINTED_MOST = 40  # labels
_WIDEST = 30  # characters
FEW = 6  # labels that page two names; more get a page


@dataclass(frozen=True, slots=True)
class ChangeOutcome(ChangeLabels):
    """What a change that was made brought: its labels, and clear air; None if not known."""

    channel: int
    state: str
    needed: int  # labels that must be back for it to count as verified
    share: float  # that this is of those listed, as the rules ask, 0..1
    gained: float | None  # clear air
    gained_low: float | None
    gained_high: float | None

    @property
    def unlisted(self) -> int | None:
        """Labels that the export since does not list any more; None: there is none."""
        return None if self.told_on is None else self.labels_due - self.labels_listed


def outcome_lines(outcomes: Sequence[ChangeOutcome], words: Wording) -> list[str]:
    """Return a sentence for each change made, those that lack most labels first."""
    worst = sorted(outcomes, key=lambda one: (-one.missing, one.station, one.change))
    return [_line(one, words) for one in worst]


def outcome_note(outcomes: Sequence[ChangeOutcome], words: Wording) -> str:
    """Return what the sheet of results says of the changes made before; empty without any."""
    lines = outcome_lines(outcomes, words)
    if not lines:
        return ""
    rest = len(lines) - _NAMED
    more = [words.counted("followed.more", rest)] if rest > 0 else []
    where = [words("followed.below")] if any(one.missing for one in outcomes) else []
    return " ".join([words("followed.before"), *lines[:_NAMED], *more, *where])


def _line(one: ChangeOutcome, words: Wording) -> str:
    parts = _back(one, words)
    if one.success_after is not None and one.success_gained is not None:
        parts.append(_success(one, words))
    elif one.labels_due:
        parts.append(words("followed.success_unknown"))
    day = words.day(one.since)
    head = words("followed.change", station=one.station, channel=one.channel, day=day)
    return f"{head} {'; '.join(parts)}."


def _back(one: ChangeOutcome, words: Wording) -> list[str]:
    if not one.labels_due:
        return [words("followed.none")]
    if one.told_on is None:
        return [words.counted("followed.untold", one.labels_due)]
    back, day = words.number(one.labels_back), words.day(one.told_on)
    parts = [words.counted("followed.back", one.labels_listed, back=back, day=day)]
    for key, count in (
        ("missing", one.missing),
        ("unsaid", one.labels_unsaid),
        ("elsewhere", one.labels_elsewhere),
        ("unlisted", one.unlisted or 0),
    ):
        if count:
            parts.append(words.counted(f"followed.{key}", count))
    if one.labels_back < one.needed == one.labels_listed:
        share = words.percent(one.share)
        parts.append(words.counted("followed.every", one.labels_listed, share=share))
    return parts


def _success(one: ChangeOutcome, words: Wording) -> str:
    before, after = words.percent(one.success_before, 1), words.percent(one.success_after, 1)
    gain, low, high = map(
        words.points, (one.success_gained, one.success_gained_low, one.success_gained_high)
    )
    key = "followed.success_alone" if one.success_gained_low is None else "followed.success"
    return words(key, before=before, after=after, gain=gain, low=low, high=high)


def _hundredfold(field: str) -> SheetColumn[ChangeOutcome]:
    """Return a column of a share in per cent, or of a difference in points."""

    def value(one: ChangeOutcome, _: Wording) -> Value:
        share: float | None = getattr(one, field)
        return None if share is None else round(100 * share, 6)

    return SheetColumn(value, Look.LEVEL, f"followed.column_{field}")


def _plain(field: str, look: Look = Look.COUNT) -> SheetColumn[ChangeOutcome]:
    return SheetColumn(field, look, f"followed.column_{field}")


OUTCOMES: Sequence[SheetColumn[ChangeOutcome]] = (
    SheetColumn("station", Look.LONG, "column.station", 30),
    SheetColumn("channel", Look.COUNT, "column.channel"),
    _plain("since", Look.DAY),
    SheetColumn(lambda one, words: words.named("state", one.state), Look.TEXT, "column.state"),
    _plain("labels_due"),
    _plain("told_on", Look.DAY),
    _plain("labels_back"),
    _plain("missing"),
    _plain("labels_unsaid"),
    _plain("unlisted"),
    _plain("labels_elsewhere"),
    _plain("labels_compared"),
    *map(
        _hundredfold,
        (
            "success_before", "success_after", "success_gained", "success_gained_low",
            "success_gained_high", "gained", "gained_low", "gained_high",
        ),
    ),
)  # fmt: skip
BEHIND: Mapping[str, SheetColumn[LabelBehind]] = {
    CHANGE: SheetColumn("store", Look.TEXT, "row.store"),
    "station": SheetColumn("label", Look.LONG, "followed.column_label"),
    "name": SheetColumn("station", Look.LONG, "followed.column_station"),
    "mounted": SheetColumn("station_now", Look.LONG, "followed.column_station_now"),
    "state": SheetColumn("heard_on", Look.DAY, "followed.column_heard_on"),
    "due": SheetColumn("change", Look.TEXT, "column.change"),
}
"""The labels that did not follow, by the column of the sheet of results they stand in."""
_PRINTED: Sequence[PrintedColumn[LabelBehind]] = (
    PrintedColumn(lambda one, _: one.store, "row.store", 0.12),
    PrintedColumn(lambda one, _: one.label, "followed.column_label", 0.28),
    PrintedColumn(lambda one, _: one.station, "followed.column_station", 0.24),
    PrintedColumn(lambda one, _: one.station_now or "", "followed.column_station_now", 0.22),
    PrintedColumn(lambda one, words: words.day(one.heard_on), "followed.column_heard_on", 0.14),
)


def behind_widths(behind: Sequence[LabelBehind]) -> Mapping[str, float]:
    """Return the widths in characters that columns of the form need for what is listed below."""
    return {
        key: min(_WIDEST, max(len(str(getattr(one, column.field) or "")) for one in behind) + 3)
        for key, column in BEHIND.items()
        if behind and isinstance(column.field, str)
    }


def put_behind(
    book: Book, page: Page, row: int, keys: Sequence[str], behind: Sequence[LabelBehind]
) -> int:
    """List the labels that did not follow from a row on; return the last row written.

    They stand below a form, in its columns. A hidden row before them says that nothing of it is
    read back.
    """
    if not behind:
        return row - 1
    page.put(row, 0, LIST_BELOW, book.note)
    page.sheet.row_dimensions[row + 1] = RowDimension(page.sheet, hidden=True)
    page.put(row + 2, 0, book.words("followed.list_title"), book.title)
    page.height(row + 2, 24)
    columns = {place: BEHIND[key] for place, key in enumerate(keys) if key in BEHIND}
    for place in range(max(columns) + 1):
        heading = columns[place].title(book.words) if place in columns else None
        page.put(row + 3, place, heading, book.heading)
    page.height(row + 3, 32)
    for number, label in enumerate(behind, start=row + 4):
        for place, column in columns.items():
            page.put(number, place, column.value(label, book.words), book.looks[column.look])
    return row + 3 + len(behind)


def behind_line(behind: Sequence[LabelBehind], words: Wording) -> str:
    """Return a few labels that did not follow in one line; empty where there is none, or more."""
    if not 0 < len(behind) <= FEW:
        return ""
    named = (f"{one.label} ({one.station}, {words.day(one.heard_on)})" for one in behind)
    return f"{words('followed.list_title')}: {'; '.join(named)}."


def behind_list(behind: Sequence[LabelBehind], words: Wording) -> PrintedList:
    """Return the labels that did not follow as a printed list, as many as fit a page."""
    more = len(behind) - _PRINTED_MOST
    note = words.counted("more.workbook", more) if more > 0 else words("followed.list_note")
    return printed_list(
        words, _PRINTED, behind[:_PRINTED_MOST], title=words("followed.list_title"), note=note,
        nothing="",
    )  # fmt: skip
