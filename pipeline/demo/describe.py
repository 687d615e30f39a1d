"""The texts that go with the demo: its README, made from the list of faults, and its rules file."""

from collections.abc import Iterable, Mapping

from pipeline.demo.chain import CHAIN, EARLIER, LATEST, REGIONS
from pipeline.demo.columns import RAW_DB_PER_STEP, RAW_SCALE, RAW_ZERO_DBM
from pipeline.demo.faults import FAULT_FREE
from pipeline.demo.records import Fault, Outcome, Portfolio, StorePlan

_INTRODUCTION = """\
# Exports of an invented chain

{chain} does not exist; neither do its shops, people or addresses. Hardware addresses come from
the block that RFC 9542 sets aside for documentation. These files are what three source systems
of such a chain might export on {earlier} and {latest}: try the program on them, or read them to
see what it accepts. `python -m pipeline.demo` writes them anew, byte for byte the same.

| folder | region | written as |
| --- | --- | --- |
| north | North | UTF-8, commas, ISO dates; one energy reading a row in dBm; June zipped |
| mitte | Mitte | cp1252, semicolons, decimal commas, day first, German headings; a scan a row, \
levels without their minus sign |
| east | East | UTF-8 with a byte order mark, UTC offsets; a scan a row, raw 0-255 values on a \
stated scale; September as one workbook; headings the rules file explains |

`rules.toml` holds the chain's rules: permitted channels, firmware, exceptions on file.
"""
_FAULTS = """\
## Deliberate faults

Each must be found. One fault may have further consequences: a busy channel lowers clear air too.

| store | where | what is wrong | must raise |
| --- | --- | --- | --- |
"""
_CLEAN = """
## Stores without a fault

{stores} must raise no finding of severity `stop` or `fix`.
"""
_RULES = """\
# Rules of {chain}, an invented chain. What is left out keeps its default.

[channels]
permitted = [{usual}]
per_region = {{ "Mitte" = [{mitte}] }}

[firmware]
standard = "{firmware}"

[scales]
# What the energy detector of region East means by its raw values.
"{scale}" = {{ zero_dbm = {zero}, db_per_step = {step} }}

[headings.stations]
"Kanał radiowy" = "channel"
"Miejsce montażu" = "mounted"

[approvers]
names = ["T. Aldervane", "R. Quellbach"]

[[exception]]
rule = "channel-not-permitted"
store = "E303"
subject = "E303-06"
reason = "freezer room: the only channel its old receiver takes besides 11"
approved_by = "T. Aldervane"
until = 2027-03-31

[[exception]]
rule = "power-over-limit"
store = "N104"
subject = "N104-09"
reason = "trial in the atrium"
approved_by = "R. Quellbach"
until = 2026-08-31
"""


def readme(portfolio: Portfolio, faults: Iterable[Fault]) -> str:
    """Return the README of the exports, as Markdown."""
    plans = {seen.plan.store: seen.plan for seen in portfolio.stores}
    head = _INTRODUCTION.format(chain=CHAIN, earlier=EARLIER, latest=LATEST)
    rows = "".join(fault_row(fault) for fault in faults)
    free = _CLEAN.format(stores=", ".join(FAULT_FREE))
    return f"{head}\n{_stores(plans)}\n{_FAULTS}{rows}{free}"


def fault_row(fault: Fault) -> str:
    """Return a fault as a row of the README's table."""
    match fault.outcome:
        case Outcome.FOUND:
            outcome = ", ".join(f"`{rule}`" for rule in fault.raises)
        case Outcome.EXCEPTED:
            outcome = f"`{fault.raises[0]}`, excepted"
        case Outcome.QUARANTINED:
            outcome = f"rows quarantined as `{fault.raises[0]}`; `{fault.raises[1]}`"
        case _:
            outcome = "nothing; every row counts as repeated"
    return f"| {fault.store or 'all of Mitte'} | {fault.subject} | {fault.what} | {outcome} |\n"


def _stores(plans: Mapping[str, StorePlan]) -> str:
    lines = [
        "| store | name | region | kind | stations | labels |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    lines.extend(
        f"| {p.store} | {p.name} | {p.region.name} | {p.store_type} | {p.stations} | {p.labels} |"
        for p in plans.values()
    )
    return "\n".join(lines) + "\n"


def rules_file(firmware: str) -> str:
    """Return the rules file of the demo, as TOML."""
    north, mitte, _ = REGIONS
    return _RULES.format(
        chain=CHAIN,
        usual=", ".join(map(str, north.permitted)),
        mitte=", ".join(map(str, mitte.permitted)),
        firmware=firmware,
        scale=RAW_SCALE,
        zero=RAW_ZERO_DBM,
        step=RAW_DB_PER_STEP,
    )
