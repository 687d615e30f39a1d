"""The command line: parse, call, print, exit status."""

import sys
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import click
import polars as pl
from rich.console import Console

from pipeline import __version__
from pipeline.bench import bench
from pipeline.check.rules import explain, rule_list
from pipeline.commands import (
    run_approve,
    run_audit,
    run_back_out,
    run_compare,
    run_decide,
    run_ingest,
    run_life,
    run_listing,
    run_schedule,
    run_standing,
    run_verify,
    run_what_if,
)
from pipeline.demo.bench import BenchSize
from pipeline.errors import QuietaisleError
from pipeline.records import Selection, Severity
from pipeline.run import Request, run
from pipeline.settings import load_settings
from pipeline.template import write_demo, write_template
from pipeline.terminal import (
    console,
    progress_on,
    show_approved,
    show_audited,
    show_bench,
    show_departures,
    show_exports,
    show_findings,
    show_life,
    show_moves,
    show_paths,
    show_run,
    show_schedule,
    show_standing,
    show_taken,
    show_verified,
    show_what_if,
)

DONE, FINDINGS, FAILED = 0, 1, 2
_Command = TypeVar("_Command", bound=Callable[..., Any])
_PATH = click.Path(path_type=Path)
_OPTIONS = (
    click.option(
        "--database",
        type=_PATH,
        default=Path("quietaisle.duckdb"),
        show_default=True,
        help="Where everything is kept between runs.",
    ),
    click.option("--rules", type=_PATH, help="Rules file; else rules.toml beside the exports."),
    click.option("--rules-folder", type=_PATH, help="A folder of rules of your own."),
    click.option(
        "--out", type=_PATH, default=Path("reports"), show_default=True, help="Where reports go."
    ),
    click.option(
        "--as-of",
        type=click.DateTime(["%Y-%m-%d"]),
        help="The day to speak of; else the newest in the exports.",
    ),
    click.option("--store", multiple=True, help="Only this store; may be repeated."),
    click.option("--region", multiple=True, help="Only this region; may be repeated."),
    click.option(
        "--fail-on",
        type=click.Choice([severity.value for severity in Severity]),
        help="Exit with status 1 when a finding is this grave or graver.",
    ),
)


def _shared(command: _Command) -> _Command:
    """Add the options that every step of the job takes."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def _request(exports: Path | None, options: Mapping[str, Any]) -> Request:
    as_of: datetime | None = options["as_of"]
    return Request(
        exports=exports,
        database=options["database"],
        out=options["out"],
        rules=options["rules"],
        rules_folder=options["rules_folder"],
        as_of=None if as_of is None else as_of.date(),
        selection=Selection(stores=options["store"], regions=options["region"]),
    )


def status(found: Mapping[Severity, int], fail_on: str | None) -> int:
    """Return the exit status: 1 where a finding is as grave as asked for, or graver."""
    if fail_on is None:
        return DONE
    graver = list(Severity)[: list(Severity).index(Severity(fail_on)) + 1]
    return FINDINGS if any(found[severity] for severity in graver) else DONE


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="quietaisle")
def cli() -> None:
    """Check, plan and track the radio channels of shelf-label base stations."""


@cli.command("run")
@click.argument("exports", type=_PATH)
@_shared
def run_command(exports: Path, **options: Any) -> int:  # noqa: ANN401 - click hands over the options by name
    """Take a folder of EXPORTS and write a change plan and a summary for every store."""
    terminal = console()
    summary = run(_request(exports, options), progress_on(terminal))
    show_run(terminal, summary)
    return status(summary.findings, options["fail_on"])


@cli.command("ingest")
@click.argument("exports", type=_PATH)
@_shared
def ingest_command(exports: Path, **options: Any) -> int:  # noqa: ANN401 - as above
    """Take a folder of EXPORTS into the database and stop there."""
    terminal = console()
    show_exports(terminal, run_ingest(_request(exports, options), progress_on(terminal)))
    return DONE


@cli.command("check")
@click.option("--standing", is_flag=True, help="Rule by rule: how often, where, and since when.")
@click.option(
    "--since",
    type=click.DateTime(["%Y-%m-%d"]),
    help="With --standing: what counts as new; else the quarter's first day.",
)
@_shared
def check_command(*, standing: bool, since: datetime | None, **options: Any) -> int:  # noqa: ANN401 - as above
    """List the findings of every rule on what the database holds."""
    if not standing:
        return _list("listed_findings", show_findings, options)
    terminal = console()
    day = None if since is None else since.date()
    show_standing(terminal, *run_standing(_request(None, options), day, progress_on(terminal)))
    return DONE


@cli.command("plan")
@click.option(
    "--set",
    "wishes",
    multiple=True,
    metavar="STATION=CHANNEL",
    help="Price this choice of yours against the plan; with one --store. May be repeated.",
)
@_shared
def plan_command(wishes: tuple[str, ...], **options: Any) -> int:  # noqa: ANN401 - as above
    """List the moves of the best plan for what the database holds."""
    if not wishes:
        return _list("listed_moves", show_moves, options)
    if len(options["store"]) != 1:
        raise click.UsageError("--set needs exactly one --store")
    terminal = console()
    wanted = dict(_wish(text) for text in wishes)
    request = _request(None, options)
    show_what_if(terminal, run_what_if(request, options["store"][0], wanted, progress_on(terminal)))
    return DONE


def _wish(text: str) -> tuple[str, int]:
    station, _, channel = text.rpartition("=")
    if not station or not channel.isdecimal() or int(channel) not in range(11, 27):
        raise click.UsageError(f"--set {text}: give it as STATION=CHANNEL, channel 11 to 26")
    return station, int(channel)


def _list(
    listing: str, show: Callable[[Console, pl.DataFrame], None], options: Mapping[str, Any]
) -> int:
    terminal = console()
    summary, rows = run_listing(_request(None, options), listing, progress_on(terminal))
    show(terminal, rows)
    return status(summary.findings, options["fail_on"])


@cli.command("schedule")
@_shared
def schedule_command(**options: Any) -> int:  # noqa: ANN401 - as above
    """Give every store with moves its night, enter approved changes, and write calendar files."""
    terminal = console()
    found = run_schedule(_request(None, options), progress_on(terminal))
    show_schedule(terminal, found)
    return status(found.summary.findings, options["fail_on"])


@cli.command("report")
@click.option(
    "--back-out",
    is_flag=True,
    help="Write the way back to how the selected stores were before their changes instead.",
)
@_shared
def report_command(*, back_out: bool, **options: Any) -> int:  # noqa: ANN401 - as above
    """Write the change plans and summaries for what the database holds."""
    terminal = console()
    if back_out:
        if not options["store"]:
            raise click.UsageError("--back-out needs at least one --store")
        show_paths(terminal, run_back_out(_request(None, options)), "No change stands carried out.")
        return DONE
    summary = run(_request(None, options), progress_on(terminal))
    show_run(terminal, summary)
    return status(summary.findings, options["fail_on"])


@cli.command("decide")
@click.argument("workbooks", type=_PATH, nargs=-1, required=True)
@click.option("--all-or-nothing", is_flag=True, help="Take all of a workbook or none of it.")
@_shared
def decide_command(
    workbooks: tuple[Path, ...],
    *,
    all_or_nothing: bool,
    **options: Any,  # noqa: ANN401 - as above
) -> int:
    """Take decisions and results out of WORKBOOKS that came back, or folders of them."""
    taken = run_decide(_request(None, options), workbooks, all_or_nothing=all_or_nothing)
    show_taken(console(), taken)
    return FINDINGS if any(one.refusals for one in taken) else DONE


@cli.command("verify")
@_shared
def verify_command(**options: Any) -> int:  # noqa: ANN401 - as above
    """Hold the newest exports against the changes that were carried out."""
    show_verified(console(), run_verify(_request(None, options)))
    return DONE


@cli.command("audit")
@click.option("--quarter", metavar="2026-Q3", help="The quarter; else that of the run's day.")
@click.option("--approve", is_flag=True, help="Freeze the selected stores as they are as agreed.")
@click.option("--by", help="Who approves; a name in the rules file.")
@click.option("--reason", help="Why, in words.")
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="Compare from this day's evening.")
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), help="Compare to this day's evening.")
@click.option("--station", help="Tell this station's life; with one --store.")
@_shared
def audit_command(**options: Any) -> int:  # noqa: ANN401 - as above
    """Hold what is found against what was agreed: a quarter, two days, or one station's life."""
    return _audit(console(), _request(None, options), options)


def _audit(terminal: Console, request: Request, options: Mapping[str, Any]) -> int:
    if options["approve"]:
        if (
            not (options["store"] or options["region"])
            or not options["by"]
            or not options["reason"]
        ):
            raise click.UsageError("--approve needs --store or --region, --by and --reason")
        show_approved(terminal, run_approve(request, options["by"], options["reason"]))
    elif options["station"]:
        if len(options["store"]) != 1:
            raise click.UsageError("--station needs exactly one --store")
        show_life(terminal, run_life(request, options["store"][0], options["station"]))
    elif options["since"] or options["until"]:
        if not (options["since"] and options["until"]):
            raise click.UsageError("--since and --until go together")
        days = options["since"].date(), options["until"].date()
        show_departures(terminal, run_compare(request, *days))
    else:
        found = run_audit(request, options["quarter"], progress_on(terminal))
        show_audited(terminal, found)
    return DONE


@cli.command("rules")
@click.argument("name", required=False)
@click.option("--rules", type=_PATH, help="Rules file whose limits to show.")
@click.option("--rules-folder", type=_PATH, help="A folder of rules of your own.")
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
@click.argument("folder", type=_PATH)
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
@click.option("--folder", type=_PATH, help="Keep the generated exports and reports here.")
def bench_command(
    stores: int, stations: int, readings: int, labels: int, folder: Path | None
) -> int:
    """Generate a chain of that size, run the whole job and time every step."""
    terminal = console()
    size = BenchSize(stores, stations, readings, labels)
    show_bench(terminal, bench(size, folder, progress_on(terminal)))
    return DONE


def main() -> None:
    """Run the command line; the only place that prints our errors."""
    try:
        sys.exit(cli.main(standalone_mode=False))
    except QuietaisleError as error:
        click.echo(str(error), err=True)
        sys.exit(FAILED)
    except click.ClickException as error:
        error.show()
        sys.exit(FAILED)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. What was finished is kept; run again to go on.", err=True)
        sys.exit(FAILED)
