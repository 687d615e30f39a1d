"""What is agreed, what departs from it, the audits of past quarters, and the register's seals."""

from datetime import date

from pipeline.tables.declare import column, table

AS_FOUND = "approved as found"
"""The reason of an approval of what was found, where the approver gave none."""


@table("baseline", watched=True)
class Baseline:
    """What is agreed of a station, one field a row.

    Every version is kept: rows are only added. On any day, the row last approved by then holds.
    """

    version: int = column("of the store; 1 is the first", sql="bigint")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    field: str = column(
        "the station itself, a column of station_seen, or place: its floor, x and y"
    )
    value: str | None = column("null: nothing; of the field `station`: it is not to be there")
    approved_by: str = column("who approved it")
    approved_on: date = column("day of the approval")
    reason: str = column("the sentence why")
    change: str | None = column("the change verified or backed out; null: approved as found")


@table("clear_air_kept", watched=True)
class ClearAirKept:
    """The clear air of a station as a run found it: one row whenever a figure changed."""

    as_of: date = column("day of the run")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel: int = column("IEEE 802.15.4 channel, 11..26")
    clear_air: float = column("on that channel, 0..1")
    agreed_channel: int | None = column("the baseline's, where it is another one")
    clear_air_agreed: float | None = column("on the agreed channel, all other stations as they are")
    planned_channel: int | None = column("the channel that the plan of that run gave it")
    clear_air_planned: float | None = column("once the whole plan is done")
    labels: int = column("it serves", sql="bigint")


@table("exception_file", watched=True)
class ExceptionFile:
    """An exception that came onto the file, or left it, with a run.

    Those of the first run count as on file from the start: nobody knows since when.
    """

    as_of: date = column("day of the run")
    on_file: bool = column("false: taken off")
    first_run: bool = column("whether it was met by the first run of all")
    rule: str = column("the rule")
    store: str = column("the store's key")
    subject: str = column("what it is about")
    reason: str = column("the sentence why")
    approved_by: str = column("who approved it")
    until: date = column("last day on which it holds")


@table("drift", watched=True)
class Departure:
    """Agreed against found, by quarter: one row a station and field that differs, and how.

    An audit works out its quarter and all before anew, from what is dated within them.
    """

    quarter: str = column("2026-Q3")
    store: str = column("the store's key")
    subject: str = column("the station, by the name it goes by")
    field: str = column("as in baseline")
    agreed: str | None = column("value agreed")
    found: str | None = column("value found")
    kind: str = column(
        "approved change, approved afterwards, deviation, drift, replaced hardware, renamed, "
        "new, gone, unseen, reverted, changed and changed back"
    )
    meanwhile: str | None = column("met within the quarter, neither agreed nor found")
    first_seen: date | None = column("in an export; of one unseen: the last export that lists it")
    stood_days: int | None = column(
        "by the end of the quarter; null: it stands no more", sql="bigint"
    )
    approved_by: str | None = column("of what is agreed, or of the change or exception")
    approved_on: date | None = column("day of the approval")
    change: str | None = column("the change")
    exception: str | None = column("its reason")
    basis: str = column("'baseline'; 'earlier export': nothing was agreed")
    clear_air_lost: float | None = column(
        "0..1, on the channel found against the agreed one; null: not known"
    )
    by_order: str | None = column(
        "as ordered, done differently, undone, not ordered, excepted; null: no export tells",
        since=4,
    )
    cause: str | None = column(
        "departures of one cause that somebody must answer have this in common; null: none must",
        since=4,
    )
    answer: str | None = column("last given by the end of the quarter, as in drift_answer", since=4)
    answered_by: str | None = column("who gave it", since=4)
    answered_on: date | None = column("day of the answer", since=4)


@table("drift_answer", watched=True, since=4)
class DepartureAnswer:
    """What an approver answered to a departure; rows are only added."""

    cause: str = column("as in drift")
    store: str = column("the store's key")
    subject: str = column("the station")
    field: str = column("as in baseline")
    agreed: str | None = column("value agreed then")
    found: str | None = column("value found then")
    answer: str = column("approve as agreed, put back, leave open")
    answered_by: str = column("who")
    answered_on: date = column("day of the answer")
    note: str = column("empty: none")
    workbook: str = column("the file it came in")
    workbook_sha256: str | None = column("of that file, as in file_kept", since=6)
    cell: str | None = column("where it stands there, such as To answer!J6", since=6)
    by_written: str | None = column("who, as the cell has it", since=6)
    at_written: str | None = column("when, as the cell has it", since=6)


@table("drift_approved", watched=True, since=4)
class DepartureApproved:
    """What each baseline approved within a quarter had departed before, one field a row."""

    quarter: str = column("such as 2026-Q3")
    store: str = column("the store's key")
    subject: str = column("the station")
    field: str = column("as in baseline")
    agreed: str | None = column("before")
    found: str | None = column("approved now")
    by_order: str | None = column("as in drift, before it was approved")
    first_seen: date | None = column("in an export")
    approved_by: str = column("who signed")
    approved_on: date = column("the day of the baseline")
    reason: str = column("the sentence why")
    version: int = column("of the store's baseline", sql="bigint")


@table("audit_air", watched=True)
class AuditAir:
    """The clear air of a region at the end of an audited quarter, as runs up to then found it."""

    quarter: str = column("such as 2026-Q3")
    region: str = column("region of the chain")
    stations: int = column("how many stations", sql="bigint")
    labels: int = column("labels it serves", sql="bigint")
    clear_air: float = column("mean over stations, weighted by the labels they serve")


@table("audit_change", watched=True)
class AuditChange:
    """Changes of the register in each quarter audited, by region and how they stood at its end."""

    quarter: str = column("such as 2026-Q3")
    region: str = column("region of the chain")
    state: str = column(
        "as ordered, done differently, ordered anew, not done, undone; refused, lapsed; "
        "of an open one what it waits for: decision, night, work, export, scan"
    )
    changes: int = column("in that state at the end of the quarter", sql="bigint")
    entered: int = column("of these, since a day of the quarter", sql="bigint")


@table("audit_finding", watched=True)
class AuditFinding:
    """Findings of an audited quarter by rule and region, from the runs of that quarter."""

    quarter: str = column("such as 2026-Q3")
    region: str = column("region of the chain")
    rule: str = column("the rule")
    severity: str = column("stop, fix, watch or note")
    opened: int = column("not found by the run before", sql="bigint")
    closed: int = column("found before, no more by the last run", sql="bigint")
    standing: int = column("by the last run of the quarter", sql="bigint")


@table("audit_promise", watched=True)
class AuditPromise:
    """Promised against measured clear air of a change judged in an audited quarter.

    The last check of each change counts; one done differently or undone counts for nothing.
    """

    quarter: str = column("such as 2026-Q3")
    region: str = column("region of the chain")
    sureness: str = column("of the evidence behind the promise")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    change: str = column("the change")
    was: float = column("clear air before the change, 0..1")
    promised: float = column("clear air promised, 0..1")
    measured: float = column("clear air as measured")
    readings: int = column("behind the measured figure", sql="bigint")
    checked_on: date = column("day of the check")
    measured_high: float | None = column(
        "95 % point of the measured figure; null: of a change judged by an older program", since=2
    )


@table("audit_store", watched=True)
class AuditStore:
    """The stores of each quarter audited: what speaks of them, and what is agreed."""

    quarter: str = column("such as 2026-Q3")
    store: str = column("the store's key")
    name: str = column("name for people")
    region: str = column("region of the chain")
    store_type: str = column("'no type' where no export says")
    exports: int = column("days of the quarter with a stations export", sql="bigint")
    last_export: date | None = column("the latest by the end of the quarter")
    stations: int = column("in the latest export of the quarter; 0: no export", sql="bigint")
    version: int | None = column(
        "of the baseline at the end of the quarter; null: none", sql="bigint"
    )
    agreed_on: date | None = column("day of the baseline")
    scan_days: int = column(
        "days of the quarter with energy scans, on the store's own calendar", sql="bigint"
    )
    unagreed: int = column("its stations of which nothing was ever agreed", sql="bigint", since=2)


@table("audit_edition", watched=True)
class AuditEdition:
    """The editions of each quarter's audit.

    A later one restates the quarter, because facts that speak of it came after it was audited;
    the number says which. Rows are only added.
    """

    quarter: str = column("such as 2026-Q3")
    edition: int = column("1 is the first", sql="bigint")
    facts: str = column("fingerprint of all that the audit says")
    as_of: date = column("day of the run that made it")
    departures: int | None = column("it told; null: made before they were kept", since=6)


@table("audit_restated", since=6)
class DepartureTold:
    """The departures that each edition of a quarter's audit told: rows are only added.

    `drift` holds those of the latest edition alone.
    """

    quarter: str = column("such as 2026-Q3")
    edition: int = column("as in audit_edition", sql="bigint")
    store: str = column("the store's key")
    subject: str = column("the station")
    field: str = column("as in baseline")
    agreed: str | None = column("value agreed")
    found: str | None = column("value found")
    kind: str = column("as in drift")
    by_order: str | None = column("as in drift")


@table("audit_sample", watched=True, key=("sample",), since=6)
class AuditSample:
    """The samples of stations drawn for an auditor to look at: rows are only added."""

    sample: str = column("named after all it was drawn from")
    drawn_on: date = column("the day of the run")
    seed: str = column("from which anybody can draw it again")
    stations: int = column("from which it was drawn: those of which a channel is agreed")
    size: int = column("how many were drawn")


@table("audit_sampled", watched=True, key=("sample", "number"), since=6)
class SampledStation:
    """A station drawn, what is agreed of it, and how many its region has."""

    sample: str = column("as in audit_sample")
    number: int = column("1 is the first")
    region: str = column("region of the chain")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    region_stations: int = column("of that region, from which it was drawn")
    channel: int = column("agreed, 11..26")
    pan_id: str | None = column("agreed, such as 0x2F11; null: none is")


@table("audit_sample_result", watched=True, since=6)
class SampleResult:
    """What an auditor found at a station drawn: rows are only added, the last one counts."""

    sample: str = column("as in audit_sample")
    number: int = column("as in audit_sampled")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel: int | None = column("found, 11..26; null: not written")
    pan_id: str | None = column("found, such as 0x2F11; null: not written")
    as_agreed: bool = column("as the auditor judged")
    looked_by: str = column("who")
    looked_on: date = column("the day")
    note: str = column("empty: none")
    workbook_sha256: str = column("of the file it came in, as in file_kept")
    cell: str = column("where it stands there, such as Sample!J6")


@table("register_entry", key=("seq",), since=4)
class RegisterEntry:
    """The entries of the register in the order in which they were sealed: rows are only added.

    An entry stands for one row of the table `source`, whose rows are sealed in their own order.
    """

    seq: int = column("1 is the first; grows by one", sql="bigint")
    source: str = column("the table whose row it stands for")
    leaf: str = column("SHA-256 of the row as a leaf of RFC 9162, 64 hexadecimal digits")
    store: str | None = column("the store it is about; null: no one store, or older", since=6)


@table("register_file", key=("sha256", "kind"), since=6)
class RegisterFile:
    """The files that the register rests on, each content once: rows are only added.

    Exports are entered by the first run that rests on them, in order of their digests, so that
    their names and the pieces they came in change nothing; workbooks by the command that took
    something from them; audits when an edition is first written.
    """

    sha256: str = column("of the file, or of the archive's member")
    kind: str = column("'export'; 'workbook': one that came back; 'audit': one written")
    file: str | None = column("its name; null: of an export, whose names export_file has")
    as_of: date = column("the day of the run or command")


@table("file_kept", key=("sha256",), since=6)
class FileKept:
    """Workbooks that came back and audits as first written, octet by octet.

    They stand in the database and not beside it: so a decision and its original are kept together
    or not at all, whenever a command is cut off, and go together into every backup.
    """

    sha256: str = column("as in register_file")
    octets: bytes = column("the file")


@table("register_seal", key=("size",), since=4)
class RegisterSeal:
    """The roots of the register: one row whenever entries were added. Rows are only added."""

    size: int = column("how many entries it is over", sql="bigint")
    root: str = column("of the tree of RFC 9162 over them, 64 hexadecimal digits")
    as_of: date = column("the day of the run that sealed them")
    edge: str = column("roots of its full subtrees, left to right: what adding needs")
