"""What a person sees of headings to be taught, decisions, the schedule and verification."""

from collections.abc import Sequence

import click
from rich.console import Console
from rich.table import Table

from pipeline.changes.decisions import Taken
from pipeline.changes.effect import Calibration
from pipeline.changes.morning import MorningAfter
from pipeline.changes.verify import Check
from pipeline.commands import Scheduled, Verified
from pipeline.proof.check import Checked
from pipeline.teach import Taught
from pipeline.terminal import many, percent, plain_table, show_exports, under
from pipeline.wording import visible

_LABELS_NAMED = 40  # on a terminal; the workbook of the next run lists all


def show_taken(console: Console, taken: Sequence[Taken]) -> None:
    """Print what became of every workbook that came back, and what was refused, with its place."""
    for one in taken:
        taken_now = f"{many(one.decisions, 'decision')} and {many(one.results, 'result')} taken"
        console.print(f"{one.workbook}: {taken_now}, {one.repeated} known already")
        for sentence in one.priced:
            under(console, sentence, indent=2, style="")
        for refusal in one.refusals:
            under(console, f"refused: {refusal}", indent=2, style="bold")
    if not taken:
        console.print("There is no workbook to read.")


def show_schedule(console: Console, found: Scheduled) -> None:
    """Print the nights, what has none and why, and how good each region's schedule is."""
    headings = ("night", "region", "store", "from", "to", "team", "wave", "")
    table = plain_table(*headings, numbers=("moves",))
    for row in found.nights.iter_rows(named=True):
        times = (f"{row['starts_local']:%H:%M}", f"{row['ends_local']:%H:%M}")
        table.add_row(
            *(str(row["night"]), row["region"], row["store"], *times),
            *(row["team"], row["wave"], row["firmness"], str(row["moves"])),
        )
    console.print(table if found.nights.height else "No store has a move to make.")
    if found.nights.height:
        console.print(
            f"Nights lie after {found.after}: the run's day, or that of the last decision"
        )
    for one in found.unplaced:
        console.print(f"store {one.store}: {one.reason}")
    for proof in found.proofs:
        share = 1.0 if proof.optimal else proof.benefit / proof.bound
        gap = "best possible" if proof.optimal else f"within {1 - share:.1%} of the best"
        console.print(f"{proof.region}: {gap}")
    for sentence in found.foreseen:
        console.print(sentence)
    booked = f"{many(found.booked, 'approved change')} entered as scheduled"
    files = many(len(found.calendars), "calendar file")
    console.print(f"{booked}; {files} in {found.summary.out}")


def show_verified(console: Console, found: Verified) -> None:
    """Print what was found of every change that was waited for, and how promises have held."""
    if not found.checks:
        console.print("No change waits for an export.")
    for check in (*found.checks, *found.standing):
        console.print(f"{check.store} {check.station}: {check.said}{_air(check)}")
        if check.note:
            under(console, check.note, indent=5, style="dim")
        if check.follows:
            under(console, f"What follows: {check.follows}.", indent=5, style="bold")
    if found.calibration:
        _show_calibration(console, found.calibration)
    ends = ", ".join(f"{count} {closed}" for closed, count in found.not_as_ordered.items())
    if ends:
        console.print(f"Not as ordered, so no promise counts them: {ends}")


def show_morning(console: Console, found: MorningAfter) -> None:
    """Print what became of last night's changes, what to do now, and the way back where to go."""
    show_exports(console, found.outcomes)
    if not found.changes:
        console.print(f"No change was due before {found.day} that no earlier export has seen.")
    for one in found.changes:
        row = one.of
        change = f"{row.from_channel} to {row.ordered_channel}"
        said = f"{row.store} {row.station}, {change}, night of {row.night}: {one.came}"
        console.print("; ".join(filter(None, (said, one.labels))))
        if row.missing:
            more = len(row.missing) - _LABELS_NAMED
            named = [*row.missing[:_LABELS_NAMED], *([f"and {more} more"] if more > 0 else [])]
            under(console, f"Not heard since: {', '.join(named)}", indent=5, style="dim")
        if one.do:
            under(console, f"What to do: {one.do}.", indent=5, style="bold")
    for store, steps in found.ways_back.items():
        way = ", ".join(f"{step.station} to channel {step.to_channel}" for step in steps)
        console.print(f"The way back of {store}: {way or 'none: no change stands carried out'}")
        if steps:
            how = f"As a job sheet: quietaisle report --back-out --store {store}"
            under(console, how, indent=5, style="dim")


def show_checked(checked: Checked) -> None:
    """Print whether the register stands as it was sealed, in whole lines."""
    for problem in checked.problems:
        click.echo(f"Not as sealed: {visible(problem)}.")
    if not checked.problems:
        click.echo(f"All {checked.entries} entries of the register stand as they were sealed.")


def _air(check: Check) -> str:
    if check.follows or check.channel_found != check.ordered_channel:
        return ""  # what was promised is of another channel
    measured = "not measured" if check.measured is None else f"{check.measured:.1%} measured"
    return f", clear air promised {percent(check.promised)}, {measured}"


def _show_calibration(console: Console, rows: Sequence[Calibration]) -> None:
    numbers = ("promises from", "to", "changes", "promised", "measured", "held")
    table = plain_table("evidence", numbers=numbers)
    for row in rows:
        between = (f"{row.promised_from:.0%}", f"{row.promised_to:.0%}")
        shares = (f"{share:.1%}" for share in (row.promised, row.measured, row.held))
        table.add_row(row.sureness, *between, str(row.changes), *shares)
    console.print("How promises of clear air have held, of changes done as ordered")
    console.print(table)


def show_taught(console: Console, taught: Taught) -> None:
    """Print a table's columns: heading, some values, the field, and why."""
    kind = taught.kind or "no kind of export that is known"
    state = "taken as it is" if taught.known else "not taken yet"
    console.print(f"{taught.file}: {kind}, {state}")
    if taught.refused:
        console.print(f"  {taught.refused}")
    if taught.columns and not taught.known:
        console.print(_columns(taught))
    for field in taught.lacking:
        console.print(f"  open: no column stands for {field} yet")


def _columns(taught: Taught) -> Table:
    grid = plain_table("heading", "values", "field", "by")
    for column in taught.columns:
        values = ", ".join(column.values)
        grid.add_row(column.heading, values, column.field or "left aside", column.why)
    return grid


def ask(what: str, meaning: str, free: Sequence[str]) -> str | None:
    """Ask which of the headings or answers is the one; none where nobody says."""
    numbered = "\n".join(f"  {number} {visible(each)}" for number, each in enumerate(free, start=1))
    question = f"{visible(meaning)}\nWhich is {what}?\n{numbered}\n  0 none"
    answer: int = click.prompt(question, type=click.IntRange(0, len(free)), default=0)
    return free[answer - 1] if answer else None
