"""What a person sees on the terminal: progress while work goes on, and what a run came to."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import date
from pathlib import Path

import polars as pl
from rich.console import Console
from rich.markup import escape
from rich.padding import Padding
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bars
from rich.table import Table

from pipeline.audit.baseline import Approved
from pipeline.audit.history import LifeLine
from pipeline.bench import FULL, Measured
from pipeline.changes.decisions import Taken
from pipeline.changes.verify import Calibration
from pipeline.check.portfolio import RuleStanding
from pipeline.commands import QuarterAudited, Scheduled, Verified
from pipeline.plan.what_if import WhatIf
from pipeline.progress import Item, Progress, Silent
from pipeline.records import ExportOutcome, RunSummary, Severity
from pipeline.tables.audit import Departure

_PIPE_WIDTH = 160
_SEVERITY_MEANS = {
    Severity.STOP: "must not go on",
    Severity.FIX: "needs a change",
    Severity.WATCH: "look at it",
    Severity.NOTE: "for the record",
}


class TerminalBars:
    """A bar per piece of long work; it leaves one line behind when done."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:
        """Yield the items, moving the bar on after each."""
        columns = (
            TextColumn("{task.description:<12}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
        )
        with Bars(*columns, console=self._console) as bars:
            task = bars.add_task(what, total=total)
            for item in items:
                yield item
                bars.advance(task)

    def during(self, step: str) -> AbstractContextManager[None]:  # noqa: ARG002 - bars say enough
        """Go through the step."""
        return nullcontext()


def console() -> Console:
    """Return the terminal; where output goes to a file or a pipe, lines have room."""
    out = Console(highlight=False)  # only what we set apart stands apart
    return out if out.is_terminal else Console(width=_PIPE_WIDTH, highlight=False)


def progress_on(console: Console) -> Progress:
    """Return bars where a person watches, else nothing: a log has no use for them."""
    return TerminalBars(console) if console.is_terminal else Silent()


def show_run(console: Console, summary: RunSummary) -> None:
    """Print what a run came to: exports, findings, moves, clear air, and where the files are."""
    show_exports(console, summary.outcomes)
    console.print(
        f"\n{summary.stores} stores, {summary.stations} stations, "
        f"as of {summary.as_of.isoformat()} (run {summary.run})"
    )
    _show_findings(console, summary)
    console.print(
        f"{summary.moves} moves in {summary.stores_with_moves} stores; clear air "
        f"{summary.clear_air_now:.1%} now, {summary.clear_air_planned:.1%} as planned "
        "(mean over stations, by labels)"
    )
    for file, names in summary.left_aside:
        line = (
            f"{file}: nothing knows the headings {names}; add them under [headings] if they matter"
        )
        console.print(escape(line), highlight=False)
    for store, why in (*summary.unplanned, *summary.unwritten):
        console.print(f"store {store}: {why}")
    if summary.written:
        console.print(
            f"{len(summary.written)} change plans and {len(summary.written)} summaries "
            f"are in {summary.out}/<region>/<store>/"
        )
    if summary.reviews:
        console.print(f"Region reviews: {summary.out}/<region>/review.pdf and .xlsx")
    if summary.quarantine is not None:
        console.print(f"Rows that could not be taken, to mend: {summary.quarantine}")
    console.print(f"The database is {summary.database}")


def show_exports(console: Console, outcomes: tuple[ExportOutcome, ...]) -> None:
    """Print what became of the rows of every kind of export, and which files were not taken."""
    if not outcomes:
        return
    table = Table("kind", box=None, pad_edge=False, header_style="bold")
    for heading in ("tables", "rows read", "loaded", "quarantined", "repeated"):
        table.add_column(heading, justify="right")
    for kind in sorted({outcome.kind or "" for outcome in outcomes}):
        of_kind = [outcome for outcome in outcomes if (outcome.kind or "") == kind]
        table.add_row(kind or "not taken", str(len(of_kind)), *_counts(of_kind))
    console.print(table)
    for outcome in outcomes:
        if outcome.refused is not None:
            console.print(f"{outcome.file} was not taken: {outcome.refused}")


def _counts(outcomes: list[ExportOutcome]) -> tuple[str, ...]:
    total: Counter[str] = Counter()
    for outcome in outcomes:
        total["read"] += outcome.rows_read
        total["loaded"] += outcome.rows_loaded
        total["quarantined"] += outcome.rows_quarantined
        total["repeated"] += outcome.rows_repeated
    return tuple(f"{total[key]:,}" for key in ("read", "loaded", "quarantined", "repeated"))


def _show_findings(console: Console, summary: RunSummary) -> None:
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(justify="right")
    table.add_column()
    table.add_column(style="dim")
    for severity, count in summary.findings.items():
        table.add_row(str(count), severity.value, _SEVERITY_MEANS[severity])
    if summary.excepted:
        table.add_row(str(summary.excepted), "excepted", "an approved exception covers it")
    console.print("Findings")
    console.print(table)


def show_findings(console: Console, rows: pl.DataFrame) -> None:
    """Print findings store by store, gravest first."""
    for (store,), found in rows.group_by(["store"], maintain_order=True):
        console.print(f"\n[bold]{escape(str(store))}[/bold]  {escape(found['region'][0])}")
        grid = Table.grid(padding=(0, 2))
        for name in ("severity", "subject", "rule"):
            grid.add_column(name, no_wrap=True)
        grid.add_column("detail", overflow="fold")
        for row in found.iter_rows(named=True):
            cells = (row["severity"], row["subject"], row["rule"], row["detail"])
            grid.add_row(*(escape(cell) for cell in cells))
        console.print(grid)
    if not rows.height:
        console.print("No finding stands.")


def show_standing(console: Console, since: date, rows: Sequence[RuleStanding]) -> None:
    """Print each rule's standing findings, over all and by region, and what has come and gone."""
    table = Table("rule", "where", box=None, pad_edge=False, header_style="bold")
    for heading in ("stores", "findings", "excepted", f"new since {since}", "gone"):
        table.add_column(heading, justify="right")
    for heading in ("first seen", "last seen", "gone since"):
        table.add_column(heading)
    for row in rows:
        counts = (row.stores, row.findings, row.excepted, row.new_findings, row.gone_findings)
        table.add_row(
            "" if row.region else escape(row.rule),
            escape(row.region or "all"),
            *map(str, counts),
            str(row.first_seen),
            str(row.last_seen),
            str(row.gone_since or ""),
        )
    console.print(table if rows else "No rule has found anything.")


def show_moves(console: Console, rows: pl.DataFrame) -> None:
    """Print the moves store by store, in the order to make them, each with its reason."""
    for (store,), moves in rows.group_by(["store"], maintain_order=True):
        console.print(f"\n[bold]{escape(str(store))}[/bold]  {escape(moves['region'][0])}")
        for row in moves.iter_rows(named=True):
            head = (
                f"{row['position']:>3}. {row['station']}: {row['from_channel']} to "
                f"{row['to_channel']}{' (parking)' if row['parking'] else ''}, clear air "
                f"{row['clear_air_before']:.1%} to {row['clear_air_after']:.1%}"
            )
            console.print(escape(head), highlight=False)
            console.print(Padding(escape(row["reason"]), (0, 0, 0, 5)), style="dim")
    if not rows.height:
        console.print("No station needs to move.")


def show_bench(console: Console, measured: Measured) -> None:
    """Print seconds by step of each run, rows, memory, shares and floors; the ratio comes last."""
    table = Table("step", box=None, pad_edge=False, header_style="bold")
    for heading in (*measured.runs, "rows"):
        table.add_column(heading, justify="right")
    full = measured.runs[FULL]
    for step in full.seconds:
        rows = measured.rows.get(step)
        seconds = (f"{run.seconds.get(step, 0.0):.2f}" for run in measured.runs.values())
        table.add_row(step, *seconds, "" if rows is None else f"{rows:,}")
    totals = (f"{run.total:.2f}" for run in measured.runs.values())
    table.add_row("all, in seconds", *totals, f"{full.files:,} files")
    table.add_row("of the full run", *(f"{measured.share(name):.1%}" for name in measured.runs))
    peaks = ("?" if r.peak_mib is None else f"{r.peak_mib:,.0f}" for r in measured.runs.values())
    table.add_row("peak memory, MiB", *peaks)
    console.print(table)
    console.print(f"stores changed between the first two runs: {measured.changed:,}")
    parts = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in measured.floor.items())
    console.print(f"floor: {parts}")
    console.print(f"least for workbooks of the same cells: {measured.cell_floor:.2f} s")
    console.print(f"ratio to floor with the same cells: {measured.cell_ratio:.2f}")
    console.print(f"ratio to floor: {measured.ratio:.2f}")


def show_what_if(console: Console, found: WhatIf) -> None:
    """Print today, the plan, and a person's own choice side by side."""
    table = Table("station", box=None, pad_edge=False, header_style="bold")
    for option in found.options:
        table.add_column(option.name, justify="right")
    for at, station in enumerate(found.stations):
        cells = (f"{o.channels[at]} ({o.clear_air[at]:.1%})" for o in found.options)
        table.add_row(station, *cells)
    table.add_row("moves", *(str(option.moves) for option in found.options))
    table.add_row("cost", *(f"{option.cost:.4f}" for option in found.options))
    console.print(f"Store {found.store}: channel and clear air by station")
    console.print(table)
    for station in found.not_permitted:
        console.print(f"The rules do not permit that channel for {station}.")


def show_taken(console: Console, taken: Sequence[Taken]) -> None:
    """Print what became of every workbook that came back, and what was refused, with its place."""
    for one in taken:
        console.print(
            f"{escape(one.workbook)}: {one.decisions} decisions and {one.results} results taken, "
            f"{one.repeated} known already",
            highlight=False,
        )
        for refusal in one.refusals:
            console.print(Padding(escape(f"refused: {refusal}"), (0, 0, 0, 2)), style="bold")
    if not taken:
        console.print("There is no workbook to read.")


def show_schedule(console: Console, found: Scheduled) -> None:
    """Print the nights, what has none and why, and how good each region's schedule is."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("night", "region", "store", "from", "to", "team", "wave", "", "moves"):
        table.add_column(heading, justify="right" if heading == "moves" else "left")
    for row in found.nights.iter_rows(named=True):
        table.add_row(
            str(row["night"]),
            escape(row["region"]),
            escape(row["store"]),
            f"{row['starts_local']:%H:%M}",
            f"{row['ends_local']:%H:%M}",
            escape(row["team"]),
            escape(row["wave"]),
            row["firmness"],
            str(row["moves"]),
        )
    console.print(table if found.nights.height else "No store has a move to make.")
    for store, why in found.unplaced:
        console.print(f"store {escape(store)}: {escape(why)}", highlight=False)
    for region, benefit, bound, optimal in found.proofs:
        proof = "best possible" if optimal else f"within {1 - benefit / bound:.1%} of the best"
        console.print(f"{escape(region)}: {proof}", highlight=False)
    console.print(
        f"{found.booked} approved changes entered as scheduled; "
        f"{len(found.calendars)} calendar files in {found.summary.out}"
    )


def show_verified(console: Console, found: Verified) -> None:
    """Print what was found of every change that was waited for, and how promises have held."""
    for check in found.checks:
        measured = "not measured" if check.measured is None else f"{check.measured:.1%}"
        head = (
            f"{check.store} {check.station}: {check.state}"
            f"{f' ({check.result})' if check.result else ''}, clear air promised "
            f"{check.promised:.1%}, {measured}"
        )
        console.print(escape(head), highlight=False)
        if check.note:
            console.print(Padding(escape(check.note), (0, 0, 0, 5)), style="dim")
    if not found.checks:
        console.print("No change waits for an export.")
    if found.calibration:
        _show_calibration(console, found.calibration)


def _show_calibration(console: Console, rows: Sequence[Calibration]) -> None:
    table = Table("evidence", box=None, pad_edge=False, header_style="bold")
    for heading in ("promises from", "to", "changes", "promised", "measured", "held"):
        table.add_column(heading, justify="right")
    for row in rows:
        shares = (row.promised, row.measured, row.held)
        table.add_row(
            row.sureness,
            f"{row.promised_from:.0%}",
            f"{row.promised_to:.0%}",
            str(row.changes),
            *(f"{share:.1%}" for share in shares),
        )
    console.print("How promises of clear air have held")
    console.print(table)


def show_paths(console: Console, paths: Sequence[Path], none: str) -> None:
    """Print the files written, one a line."""
    for path in paths:
        console.print(escape(str(path)), highlight=False, soft_wrap=True)
    if not paths:
        console.print(none)


def show_audited(console: Console, found: QuarterAudited) -> None:
    """Print what the audit of a quarter came to and where its files are."""
    audited = found.audited
    edition = "the quarter is not over yet"
    if audited.edition is not None:
        edition = "first edition" if audited.edition == 1 else f"restatement {audited.edition}"
    console.print(
        f"{audited.quarter} ({edition}): {audited.departures} departures in {audited.stores} stores"
    )
    show_paths(console, found.files, "")


def show_approved(console: Console, approved: Sequence[Approved]) -> None:
    """Print the new version of every baseline."""
    for one in approved:
        console.print(
            f"{escape(one.store)}: version {one.version}, {one.stations} stations as found on "
            f"{one.found_on}",
            highlight=False,
        )


def show_departures(console: Console, rows: Sequence[Departure]) -> None:
    """Print what departs from what is agreed, one line each."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("store", "subject", "field", "kind", "agreed", "found", "since", "by"):
        table.add_column(heading)
    for row in rows:
        cells = (row.store, row.subject, row.field, row.kind, row.agreed, row.found)
        since = "" if row.first_seen is None else row.first_seen.isoformat()
        table.add_row(*(escape(str(c or "")) for c in cells), since, escape(row.approved_by or ""))
    console.print(table if rows else "Everything is as agreed.")


def show_life(console: Console, lines: Sequence[LifeLine]) -> None:
    """Print a station's life, oldest first."""
    for line in lines:
        until = f" to {line.until}" if line.until else ""
        air = "" if line.clear_air is None else f"; clear air {line.clear_air:.0%}"
        by = f" ({line.by})" if line.by else ""
        console.print(escape(f"{line.day}{until}  {line.text}{by}{air}"), highlight=False)
