"""The lists of a quarter's audit: to act on, not seen, again and again, found by rules."""

from pipeline.report.quarter_content import Difference, QuarterContent
from pipeline.report.quarter_lists import ListColumn, Table
from pipeline.report.wording import NOTHING, Wording

_PRINTED_MOST = 400  # rows; a longer list is read in the workbook


def act_on(content: QuarterContent, words: Wording) -> Table:
    """Return what nobody approved, with what to do about each."""
    columns = (
        ListColumn(words("audit.column_store"), 13),
        ListColumn(words("audit.column_station"), 11),
        ListColumn(words("audit.column_field"), 11),
        ListColumn(words("audit.column_agreed"), 12),
        ListColumn(words("audit.column_found"), 12),
        ListColumn(words("audit.column_approved"), 12),
        ListColumn(words("audit.column_since"), 11),
        ListColumn(words("audit.column_lost"), 9, right=True),
        ListColumn(words("audit.column_do"), 17),
    )
    rows = [_act_on(one, words) for one in content.to_act_on[:_PRINTED_MOST]]
    rest = len(content.to_act_on) - len(rows)
    note = words.counted("audit.more_rows", rest) if rest else words("audit.act_note")
    return Table(words("audit.act_title"), note, columns, rows, words("audit.act_none"))


def _act_on(one: Difference, words: Wording) -> tuple[str, ...]:
    kind = one.kind.replace(" ", "_")
    approved = f"{one.approved_by}, {words.day(one.approved_on)}" if one.approved_by else NOTHING
    since = words("audit.since", day=words.day(one.first_seen), days=words.number(one.stood_days))
    return (
        f"{one.store} {one.name}",
        one.subject,
        words(f"field.{one.field}"),
        one.agreed or NOTHING,
        one.found or NOTHING,
        approved,
        since if one.first_seen else NOTHING,
        words.percent(one.clear_air_lost),
        words(f"action.{kind}"),
    )


def uncovered(content: QuarterContent, words: Wording) -> Table:
    """Return the stores no export of the quarter speaks of, by name."""
    columns = (
        ListColumn(words("audit.column_store"), 12),
        ListColumn(words("audit.column_name"), 30),
        ListColumn(words("audit.column_region"), 20),
        ListColumn(words("audit.column_type"), 20),
        ListColumn(words("audit.column_last_export"), 18),
    )
    rows = [
        (s.store, s.name, s.region, s.store_type, words.day(s.last_export))
        for s in content.uncovered
    ]
    note = words("audit.uncovered_note")
    return Table(words("audit.uncovered_title"), note, columns, rows, words("audit.uncovered_none"))


def repeated(content: QuarterContent, words: Wording, most: int | None = None) -> Table:
    """Return the stores in which something went astray again and again."""
    columns = (
        ListColumn(words("audit.column_store"), 34),
        ListColumn(words("audit.column_region"), 16),
        ListColumn(words("audit.column_quarters"), 14, right=True),
        ListColumn(words("audit.column_departures"), 14, right=True),
    )
    rows = [
        (f"{r.store} {r.name}", r.region, words.number(r.quarters), words.number(r.departures))
        for r in content.repeated[:most]
    ]
    rest = len(content.repeated) - len(rows)
    note = words.counted("audit.more_stores", rest) if rest else words("audit.repeat_note")
    return Table(words("audit.repeat_title"), note, columns, rows, words("audit.repeat_none"))


def findings(content: QuarterContent, words: Wording, most: int | None = None) -> Table:
    """Return findings opened, closed and standing by rule."""
    columns = (
        ListColumn(words("column.title"), 33),
        ListColumn(words("column.severity"), 14),
        ListColumn(words("audit.column_opened"), 13, right=True),
        ListColumn(words("audit.column_closed"), 13, right=True),
        ListColumn(words("audit.column_standing"), 15, right=True),
    )
    rows = [
        (
            r.title,
            words(f"severity.{r.severity}"),
            *(words.number(count) for count in (r.opened, r.closed, r.standing)),
        )
        for r in content.rules[:most]
    ]
    rest = len(content.rules) - len(rows)
    note = words.counted("audit.more_rules", rest) if rest else ""
    return Table(words("audit.findings_title"), note, columns, rows, words("audit.findings_none"))
