"""The command line: parse, call, print, exit status."""

import sys
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from pipeline import __version__, commands, terminal, terminal_changes
from pipeline.backup import back_up, restore
from pipeline.bench import bench
from pipeline.calls import DATABASE, DAY, DONE, FAILED, FINDINGS, PATH, Call, day_of, status, step
from pipeline.changes.orders import read_wished
from pipeline.check.rules import explain, rule_list
from pipeline.database import open_database
from pipeline.demo.bench import BenchSize
from pipeline.errors import QuietaisleError, StorageFailed
from pipeline.explain import explain_figure
from pipeline.plan.wishes import HOW, Wishes, read_wishes
from pipeline.proof.check import Wanted
from pipeline.records import Selection
from pipeline.run import require_readable, rules_beside, run
from pipeline.settings import load_settings
from pipeline.tables.taken import ExportFile
from pipeline.teach import rules_of, teach, write_demo, write_rules, write_template
from pipeline.wording import visible


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="quietaisle")
def cli() -> None:
    """Check, plan and track the radio channels of shelf-label base stations."""


@cli.command("run")
@click.argument("exports", type=PATH)
@step
def run_command(call: Call) -> int:
    """Take a folder of EXPORTS and write a change plan and a summary for every store."""
    return _run(call)


def _run(call: Call) -> int:
    taken: list[ExportFile] = []
    try:
        summary = run(call.request, call.progress, taken.extend)
    except QuietaisleError:
        terminal.show_exports(call.console, tuple(taken))
        raise
    terminal.show_run(call.console, summary)
    return FAILED if summary.unwritten else status(summary.findings, call.fail_on)


@cli.command("ingest")
@click.argument("exports", type=PATH)
@step
def ingest_command(call: Call) -> int:
    """Take a folder of EXPORTS into the database and stop there."""
    outcomes = commands.run_ingest(call.request, call.progress)
    terminal.show_exports(call.console, outcomes)
    require_readable(call.request, outcomes)
    return DONE


@cli.command("check")
@click.option("--standing", is_flag=True, help="Rule by rule: how often, where, and since when.")
@click.option("--since", type=DAY, help="With --standing: new since when; else this quarter.")
@step
def check_command(call: Call, *, standing: bool, since: datetime | None) -> int:
    """List the findings of every rule on what the database holds."""
    if standing:
        found = commands.run_standing(call.request, day_of(since), call.progress)
        terminal.show_standing(call.console, *found)
        return DONE
    summary, rows = commands.run_listing(call.request, "listed_findings", call.progress)
    terminal.show_findings(call.console, rows)
    return status(summary.findings, call.fail_on)


@cli.command("plan")
@click.option(
    "--set",
    "wishes",
    multiple=True,
    metavar="WHAT=CHANNEL",
    help=f"Price this choice of yours against the plan; with one --store. May be repeated: {HOW}; "
    "or a change plan (.xlsx) with its sheet What if filled in.",
)
@click.option("--prove", type=PATH, help="Write a proof that nothing is cheaper; with one --store.")
@step
def plan_command(call: Call, *, wishes: tuple[str, ...], prove: Path | None) -> int:
    """List the moves of the best plan for what the database holds."""
    if prove:
        if call.only_store is None:
            raise click.UsageError("--prove needs exactly one --store")
        proof = commands.run_plan_proof(call.request, call.only_store, call.progress)
        prove.write_text(proof, encoding="utf-8", newline="\n")
        click.echo(prove)
        return DONE
    if wishes:
        store, wanted = _wished(wishes, call.only_store)
        found = commands.run_what_if(call.request, store, wanted, call.progress)
        terminal.show_what_if(call.console, found)
        return DONE
    summary, rows = commands.run_listing(call.request, "listed_moves", call.progress)
    terminal.show_moves(call.console, rows)
    return status(summary.findings, call.fail_on)


def _wished(given: Sequence[str], only: str | None) -> tuple[str, Wishes]:
    """Return the store and what is wished of it: as typed, and as its change plan asks."""
    stores, wishes = {only} - {None}, [("", text) for text in given if not text.endswith(".xlsx")]
    try:
        for text in given:
            if text.endswith(".xlsx"):
                book = read_wished(Path(text))
                stores.add(book.store)
                wishes += book.wishes
        for at, text in wishes:
            _read_wish(at, text)
        wanted = read_wishes([text for _, text in wishes])
    except ValueError as error:
        raise click.UsageError(f"--set {error}") from error
    store = stores.pop() if len(stores) == 1 else None
    if store is None:
        raise click.UsageError("--set needs exactly one --store, or one change plan")
    return store, wanted


def _read_wish(at: str, text: str) -> None:
    try:
        read_wishes([text])
    except ValueError as error:
        raise ValueError(f"{at}: {error}" if at else str(error)) from error


@cli.command("schedule")
@step
def schedule_command(call: Call) -> int:
    """Give every store with moves its night, enter approved changes, and write calendar files."""
    found = commands.run_schedule(call.request, call.progress)
    terminal_changes.show_schedule(call.console, found)
    return status(found.summary.findings, call.fail_on)


@cli.command("report")
@click.option("--back-out", is_flag=True, help="Write the selected stores' way back instead.")
@step
def report_command(call: Call, *, back_out: bool) -> int:
    """Write the change plans and summaries for what the database holds."""
    if back_out:
        if not call.request.selection.stores:
            raise click.UsageError("--back-out needs at least one --store")
        paths = commands.run_back_out(call.request)
        terminal.show_paths(call.console, paths, "No change stands carried out.")
        return DONE
    return _run(call)


@cli.command("decide")
@click.argument("workbooks", type=PATH, nargs=-1, required=True)
@click.option("--all-or-nothing", is_flag=True, help="Take all of a workbook or none of it.")
@step
def decide_command(call: Call, *, workbooks: tuple[Path, ...], all_or_nothing: bool) -> int:
    """Take decisions and results out of WORKBOOKS that came back, or folders of them."""
    taken = commands.run_decide(call.request, workbooks, all_or_nothing=all_or_nothing)
    terminal_changes.show_taken(call.console, taken)
    return FINDINGS if any(one.refusals for one in taken) else DONE


@cli.command("verify")
@step
def verify_command(call: Call) -> int:
    """Hold the newest exports against the changes that were carried out."""
    terminal_changes.show_verified(call.console, commands.run_verify(call.request))
    return DONE


@cli.command("explain")
@click.argument("key", metavar="STORE|STATION")
@click.argument("figure", type=click.Choice(["clear-air"]), default="clear-air")
@click.option("--exports", "folder", type=PATH, help="Where the exports lie: names file and line.")
@step
def explain_command(call: Call, *, key: str, figure: str, folder: Path | None) -> int:  # noqa: ARG001 - the one figure there is
    """Lead from the printed clear air of a store or station back to the readings behind it."""
    for line in explain_figure(call.request, key, folder):
        click.echo(visible(line))
    return DONE


@cli.command("morning")
@click.argument("exports", type=PATH)
@step
def morning_command(call: Call) -> int:
    """Say what EXPORTS of the next day show of last night's changes; status 1: there is work."""
    found = commands.run_morning(call.request, call.progress)
    terminal_changes.show_morning(call.console, found)
    return FINDINGS if found.work else DONE


@cli.command("audit")
@click.option("--quarter", metavar="2026-Q3", help="The quarter; else that of the run's day.")
@click.option("--approve", is_flag=True, help="Freeze the selected stores as they are as agreed.")
@click.option("--all-stores", is_flag=True, help="With --approve: every store, in one go.")
@click.option("--by", help="Who approves; a name in the rules file.")
@click.option("--reason", help="Why, in words.")
@click.option("--since", type=DAY, help="Compare from this day's evening.")
@click.option("--until", type=DAY, help="Compare to this day's evening.")
@click.option("--station", help="Tell this station's life; with one --store.")
@click.option(
    "--check", "seals", multiple=True, metavar="SEAL", help="Hold the register to a seal."
)
@click.option("--prove", type=PATH, help="Write a proof that the register's entries stand.")
@click.option("--original", type=PATH, help="Write the workbooks a change rests on to a folder.")
@click.option("--change", help="With --prove and --original: of this change.")
@click.option("--sample", metavar="59", help="Draw stations to look at; or for a share: 5%.")
@click.option("--seed", help="With --sample: what to draw from; else the name of the run.")
@click.option("--older", type=int, multiple=True, help="With --prove: from a seal of this size on.")
@step
def audit_command(call: Call, *, quarter: str | None, approve: bool, **options: Any) -> int:  # noqa: ANN401 - as click has them
    """Hold what is found against what was agreed: a quarter, two days, or one station's life."""
    if options["seals"]:
        return _check(call, options["seals"])
    if options["prove"]:
        _prove(call, options, quarter)
    elif options["original"]:
        _originals(call, options["original"], options["change"])
    elif options["sample"]:
        wanted = _wanted(options["sample"])
        click.echo(commands.run_sample(call.request, wanted, options["seed"]))
    elif approve:
        _approve(call, options["by"], options["reason"], every=options["all_stores"])
    elif options["station"]:
        _life(call, options["station"])
    elif options["since"] or options["until"]:
        _compare(call, day_of(options["since"]), day_of(options["until"]))
    else:
        audited = commands.run_audit(call.request, quarter, call.progress)
        terminal.show_audited(call.console, audited)
        click.echo(f"Seal of the register, for `audit --check`: {audited.seal or 'none yet'}")
    return DONE


def _life(call: Call, station: str) -> None:
    if call.only_store is None:
        raise click.UsageError("--station needs exactly one --store")
    terminal.show_life(call.console, commands.run_life(call.request, call.only_store, station))


def _compare(call: Call, since: date | None, until: date | None) -> None:
    if not (since and until):
        raise click.UsageError("--since and --until go together")
    terminal.show_departures(call.console, commands.run_compare(call.request, since, until))


def _originals(call: Call, folder: Path, change: str | None) -> None:
    if change is None:
        raise click.UsageError("--original needs --change")
    for line in commands.run_originals(call.request, folder, change):
        click.echo(visible(line))


def _wanted(text: str) -> float:
    """Return how many stations are asked for; below 1, the share that they are to rule out."""
    digits = text.removesuffix("%")
    try:
        wanted = float(digits) / (100 if text.endswith("%") else 1)
    except ValueError:
        wanted = 0.0
    share = 0 < wanted < 1
    if not share and not (digits == text and wanted >= 1 and wanted.is_integer()):
        raise click.UsageError(f"--sample {text}: give a number of stations, or a share such as 5%")
    return wanted


def _approve(call: Call, by: str | None, reason: str | None, *, every: bool) -> None:
    chosen = call.request.selection != Selection()
    if chosen == every or not by or not reason:
        raise click.UsageError(
            "--approve needs --by, --reason, and --store, --region or --all-stores"
        )
    terminal.show_approved(call.console, commands.run_approve(call.request, by, reason))


def _check(call: Call, seals: Sequence[str]) -> int:
    terminal_changes.show_checked(checked := commands.run_check_seals(call.request, seals))
    return FINDINGS if checked.problems else DONE


def _prove(call: Call, options: Mapping[str, Any], quarter: str | None) -> None:
    change, station, store = options["change"], options["station"], call.only_store
    if sum(map(bool, (change, station, quarter))) != 1 or (station and store is None):
        raise click.UsageError(
            "--prove needs one of --change, --quarter, and --station with one --store"
        )
    wanted = Wanted(change, store if station else None, station)
    commands.run_prove(call.request, options["prove"], wanted, quarter, options["older"])
    click.echo(options["prove"])


@cli.command("backup")
@click.argument("folder", type=PATH)
@click.option("--database", type=PATH, default=DATABASE, show_default=True, help="What to keep.")
def backup_command(folder: Path, database: Path) -> int:
    """Keep the database in a new FOLDER: a parquet file a table, and a manifest of digests."""
    with open_database(database) as opened:
        kept = back_up(opened, folder)
    click.echo(f"{kept.rows} rows of {kept.tables} tables are kept in {kept.folder}")
    return DONE


@cli.command("restore")
@click.argument("folder", type=PATH)
@click.option("--database", type=PATH, default=DATABASE, show_default=True, help="A new file.")
def restore_command(folder: Path, database: Path) -> int:
    """Make a new database of the backup in FOLDER."""
    back = restore(folder, database)
    click.echo(f"{back.rows} rows of {back.tables} tables are back, in {database}")
    return DONE


@cli.command("teach")
@click.argument("folder", type=PATH)
@click.option("--rules", type=PATH, help="Rules file; else rules.toml beside the exports.")
@click.option("--write", type=PATH, help="Write what is proposed into this new rules file.")
def teach_command(folder: Path, rules: Path | None, write: Path | None) -> int:
    """Show what the headings of FOLDER are taken for, and propose lines for the rules file."""
    ask = terminal_changes.ask if sys.stdin.isatty() and write is None else None
    tables = teach(folder, load_settings(rules or rules_beside(folder)), ask)
    for each in tables:
        terminal_changes.show_taught(terminal.console(), each)
    if write is not None:
        write_rules(write, tables)
        click.echo(f"Written: {write}. Read it, then name it with --rules.")
    elif lines := rules_of(tables):
        click.echo(f"Paste into the rules file, if these are its columns:\n\n{visible(lines)}")
    return DONE


@cli.command("rules")
@click.argument("name", required=False)
@click.option("--rules", type=PATH, help="Rules file whose limits to show.")
@click.option("--rules-folder", type=PATH, help="A folder of rules of your own.")
def rules_command(name: str | None, rules: Path | None, rules_folder: Path | None) -> int:
    """List the rules, or explain the one called NAME with your own limits filled in."""
    known = rule_list(rules_folder)
    if name is None:
        for rule in known:
            click.echo(f"{rule.severity.value:<6} {rule.name:<28} {rule.english.title}")
    else:
        click.echo(explain(name, load_settings(rules), rules_folder))
    return DONE


@cli.command("template")
@click.argument("folder", type=PATH)
@click.option("--demo", is_flag=True, help="Write the sample chain's exports instead.")
def template_command(folder: Path, *, demo: bool) -> int:
    """Write empty export files and a commented rules file into FOLDER."""
    for path in write_demo(folder) if demo else write_template(folder):
        click.echo(path)
    return DONE


@cli.command("bench")
@click.option("--stores", type=click.IntRange(min=1), default=100, show_default=True)
@click.option("--stations", type=click.IntRange(min=1), default=8, show_default=True)
@click.option("--readings", type=click.IntRange(min=1), default=50, show_default=True)
@click.option("--labels", type=click.IntRange(min=0), default=4000, show_default=True)
@click.option("--folder", type=PATH, help="Keep the generated exports and reports here.")
def bench_command(folder: Path | None, **size: int) -> int:
    """Generate a chain of that size, run the whole job and time every step."""
    console = terminal.console()
    terminal.show_bench(console, bench(BenchSize(**size), folder, terminal.progress_on(console)))
    return DONE


def main() -> None:
    """Run the command line; the only place that prints our errors."""
    try:
        sys.exit(cli.main(standalone_mode=False))
    except QuietaisleError as error:
        click.echo(visible(str(error)), err=True)
        sys.exit(FAILED)
    except OSError as error:
        failed = StorageFailed(error.filename or "A file", error.strerror or str(error))
        click.echo(visible(str(failed)), err=True)
        sys.exit(FAILED)
    except click.ClickException as error:
        error.show()
        sys.exit(FAILED)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. What was finished is kept; run again to go on.", err=True)
        sys.exit(FAILED)
