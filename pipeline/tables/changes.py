"""The change register: plans, changes, events, checks; the nights of work, and what has none."""

from datetime import date, datetime

from pipeline.tables.declare import column, table


@table("change_plan", watched=True, key=("plan",))
class ChangePlan:
    """The plans put forward, one row per store and plan, in the order they were registered.

    The last of a store is the one in force; it supersedes the one before. Rows are only ever
    added.
    """

    number: int = column("1 is the first registered", sql="bigint")
    plan: str = column("the plan it belongs to")
    store: str = column("the store's key")
    fingerprint: str = column("of what the plan says: moves in order, permitted channels")
    choices: str = column("the channels the rules permitted, '11 15 20'")
    moves: int = column("0: every channel is to stay as it is", sql="bigint")
    proposed_on: date = column("the day of the run that computed it")
    run: str = column("the run, named after its inputs")
    supersedes: str | None = column("the store's plan before; null: its first")


@table("change", watched=True, key=("change",))
class Change:
    """Changes as proposed: facts that never change.

    What became of them is in change_event.
    """

    change: str = column("the change")
    plan: str = column("the plan it belongs to")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    from_channel: int | None = column(
        "channel before the move, 11..26; null: the station's first setting"
    )
    to_channel: int = column("channel after the move, 11..26")
    position: int = column("1 is the first of the plan")
    parking: bool = column("a step on the way, not the final channel")
    clear_air_before: float | None = column(
        "of this station, before the whole plan, 0..1; null: not known"
    )
    clear_air_after: float | None = column(
        "promised once the whole plan is done, 0..1; null: not known"
    )
    labels: int = column("labels the station served then, silent ones left out", sql="bigint")
    sureness: str = column("of the evidence: 'high', 'fair' or 'low'")
    proposed_by: str = column("who proposed it")
    proposed_on: date = column("day of the run that proposed it")
    clear_air_before_low: float | None = column("5 % point of clear air before", since=2)
    clear_air_before_high: float | None = column("95 % point of clear air before", since=2)
    clear_air_after_low: float | None = column("5 % point of the promise", since=2)
    clear_air_after_high: float | None = column("95 % point of the promise", since=2)
    chance: float | None = column(
        "that the move gains anything, 0..1; null: it must be made, or not known", since=2
    )
    free_of_own_before: float | None = column(
        "share of time that own neighbours left free before; null: not known", since=3
    )
    group_no: int | None = column(
        "changes of a plan with the same number are one decision; null: not known", since=4
    )
    facts: str | None = column(
        "why it was proposed, as JSON, to be worded in any language; null: not known", since=4
    )
    pan_id: int | None = column(
        "of a first setting: the PAN ID to give it; null: another change, or none is left", since=6
    )
    tx_power_dbm: float | None = column(
        "of a first setting: the transmit power to set; null: another change", since=6
    )
    name: str | None = column(
        "of a first setting: the name to give it; null: another change", since=6
    )


@table("change_event", watched=True, key=("seq",))
class ChangeEvent:
    """What became of every change, for ever: rows are only added.

    Within a change `at` never goes back, so the state on a past day is that of its last event up
    to that day.
    """

    seq: int = column("1 is the first; grows by one", sql="bigint")
    change: str = column("the change")
    state: str = column(
        "proposed, approved, refused, deferred, scheduled, implemented, "
        "verified, ineffective, backed out, lapsed"
    )
    at: datetime = column("when")
    by: str = column("who")
    note: str = column("empty: none")
    result: str | None = column(
        "done, done differently, not done, backed out, accepted; null: not about the work"
    )
    due: datetime | None = column(
        "of a scheduled change: when work starts, on the store's own clock"
    )
    channel: int | None = column(
        "channel ordered, 11..26, where it is another than proposed; null: as proposed", since=4
    )
    until: date | None = column(
        "of a refusal: not put forward again before this day; null: no day given", since=4
    )
    workbook: str | None = column("the file a decision or result came in; null: none", since=4)
    carried: str | None = column(
        "plan before, whose approval this repeats in the plan that took its place; null: none",
        since=4,
    )
    promised: float | None = column(
        "clear air promised on the other channel ordered, 0..1; null: none ordered, or not known",
        since=4,
    )
    promised_low: float | None = column("5 % point of that promise", since=4)
    promised_high: float | None = column("95 % point of that promise", since=4)
    workbook_sha256: str | None = column("of that file, as in file_kept; null: none", since=6)
    cell: str | None = column("where it stands there, such as Decisions!Q7", since=6)
    by_written: str | None = column("who, as the cell has it", since=6)
    at_written: str | None = column("when, as the cell has it", since=6)


@table("change_check", watched=True, key=("seq",))
class ChangeCheck:
    """What was found when a change was judged: the facts behind an event of change_event."""

    seq: int = column("of the event", sql="bigint")
    change: str = column("the change")
    checked_on: date = column("the day of the run")
    seen_on: date = column("of the stations export")
    channel_found: int | None = column("the channel that the export shows")
    connected: bool | None = column("null: the export does not say")
    labels_before: int = column("served when proposed, silent ones left out", sql="bigint")
    labels_after: int | None = column(
        "of `labels_due`, heard since the change, by any station; before version 6 those served by "
        "this one. Null: no labels export since the change",
        sql="bigint",
    )
    clear_air_before: float | None = column("0..1, before the change; null: not known")
    promised: float | None = column("clear air, 0..1; null: not known")
    measured: float | None = column("from scans since the change; null: none yet")
    readings: int = column("taken since the change on the channel found", sql="bigint")
    sureness: str = column("of the promise")
    measured_low: float | None = column("5 % point of clear air measured", since=2)
    measured_high: float | None = column("95 % point of clear air measured", since=2)
    gained: float | None = column(
        "measured less what the channel left has now; less before where it was not scanned; "
        "null: one is not known",
        since=2,
    )
    gained_low: float | None = column("5 % point of the gain", since=2)
    gained_high: float | None = column("95 % point of the gain", since=2)
    verdict: str | None = column(
        "helped, no difference shown, worse, scan again; null: of no final channel, or the first",
        since=2,
    )
    labels_due: int | None = column(
        "served in the last labels export before the change, silent ones left out; null: none "
        "since",
        sql="bigint",
        since=6,
    )
    labels_listed: int | None = column(
        "of those, in the latest labels export since; null: none since", sql="bigint", since=6
    )
    success_before: float | None = column(
        "share of updates acknowledged, 0..1, by labels that the station serves before and after, "
        "in the last labels export before; null: not known",
        since=6,
    )
    success_after: float | None = column("the same in the latest labels export since", since=6)
    success_gained: float | None = column("after less before; null: not known", since=6)
    success_gained_low: float | None = column("5 % point of that gain; null: not known", since=6)
    success_gained_high: float | None = column("95 % point of that gain", since=6)


@table("change_labels", since=6)
class ChangeLabels:
    """What became of the labels of each change that exports show carried out, as of the last run.

    Parking steps have no row, nor have stations that served no label. `due` are the labels that the
    station served in the last labels export before the change, silent ones left out.
    """

    change: str = column("the change")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    since: date = column("labels heard on later days were heard after the change")
    told_on: date | None = column("day of the latest labels export since; null: none since")
    labels_due: int = column("that should be back", sql="bigint")
    labels_listed: int = column("of those, in the export since", sql="bigint")
    labels_back: int = column("of those, heard since the change, by any station", sql="bigint")
    labels_unsaid: int = column("listed without the day last heard", sql="bigint")
    labels_elsewhere: int = column(
        "listed at another station, and not known to be silent", sql="bigint"
    )
    labels_compared: int = column(
        "served by the station before and after, with shares of updates acknowledged in both",
        sql="bigint",
    )
    success_before: float | None = column("share those acknowledged before, 0..1; null: not known")
    success_after: float | None = column("share those acknowledged since; null: not known")
    success_gained: float | None = column("after less before; null: not known")
    success_gained_low: float | None = column("5 % point of that gain; null: not known")
    success_gained_high: float | None = column("95 % point of that gain")

    @property
    def missing(self) -> int:
        """Labels that an export lists and that were not heard since."""
        return self.labels_listed - self.labels_back - self.labels_unsaid


@table("label_behind", since=6)
class LabelBehind:
    """A label that did not follow: listed, and not heard since the change of its station."""

    change: str = column("the change")
    store: str = column("the store's key")
    station: str = column("the station that served it before")
    label: str = column("the label's key within its store")
    station_now: str | None = column("the station that it is listed at now; null: none")
    heard_on: date = column("day on which it was last heard")


@table("change_schedule", watched=True)
class WorkNight:
    """When each store's moves are to be made: one row per store and night of work."""

    store: str = column("the store's key")
    region: str = column("region of the chain")
    night: date = column("its evening, on the store's own clock")
    starts_at: datetime = column("UTC")
    ends_at: datetime = column("UTC")
    starts_local: datetime = column("the same on the store's own clock")
    ends_local: datetime = column("end of the work on the store's own clock")
    team: str = column("the team that does it")
    wave: str = column("the wave it belongs to")
    provisional: bool = column("waits for an approval, or for an earlier wave to be verified")
    moves: int = column("made in this night", sql="bigint")
    first_position: int = column("of these moves in the store's order, both included", sql="bigint")
    last_position: int = column("the last of them", sql="bigint")
    undecided: int | None = column(
        "moves of it that nobody has approved; null: not known", sql="bigint", since=4
    )


@table("schedule_proof", watched=True)
class ScheduleProof:
    """How good the schedule of a region is proven to be.

    Regions tied by shared staff or a shared Wi-Fi neighbour are proven together. Figures are
    label-days: labels that find a free channel at any moment after the changes, less those before,
    times the days that this lasts; where stores are drawn, the weights of their turns times these
    days, in hundredths, so that nights in the order of the draw are worth most.
    """

    region: str = column("region of the chain")
    benefit: float = column("worth of the schedule")
    bound: float = column("no schedule that keeps to every constraint is worth more")
    optimal: bool = column("whether cost and bound meet")


@table("schedule_remark", watched=True)
class ScheduleRemark:
    """What the schedule of a store could not take into account, as a sentence."""

    store: str = column("the store's key")
    remark: str = column("the sentence")


@table("unscheduled_store", watched=True)
class UnscheduledStore:
    """A store with moves but no place in the schedule, and the constraint that stops it."""

    store: str = column("the store's key")
    wave: str | None = column("null: no night at all, whatever other stores do")
    reason: str = column("the sentence why")


@table("nights_given", since=6)
class NightsGiven:
    """The nights of a store whenever they became others: rows are only added.

    `change_schedule` holds the nights of today alone.
    """

    as_of: date = column("day of the run that gave them")
    store: str = column("the store's key")
    nights: str = column("each: local start/end, team, wave, moves from-to; empty: none any more")


@table("wave_taken", watched=True)
class WaveTaken:
    """The wave that a store was put in for good: it stays in its wave."""

    store: str = column("the store's key")
    wave: str = column("the wave it belongs to")
    taken_on: date = column("day of the run that placed it")


@table("wave_draw", watched=True, since=6)
class WaveDraw:
    """The ticket of a store in the draw of who goes first; kept once made.

    Waiting stores of a stratum go in ascending order of their tickets, wave by wave, and night by
    night within a wave as far as windows and teams allow.
    """

    store: str = column("the store's key")
    region: str = column("region of the chain")
    stratum: str | None = column("alike in urgency, deadline and benefit; null: named for a wave")
    ticket: str = column("first 16 hexadecimal digits of SHA-256 of seed, line feed and store")
    seed: str = column("name of the run that made it")
    drawn: bool = column("false: the rules order stores by benefit")
    drawn_on: date = column("day of that run")


@table("ticket_given", since=7)
class TicketGiven(WaveDraw):
    """The ticket of a store whenever it became another: rows are only added, and sealed.

    `wave_draw` holds those of today alone.
    """

    as_of: date = column("day of the run that gave it")


@table("freeze_kept", watched=True, since=6)
class FreezeKept:
    """A freeze of the rules file or its calendars, as the last schedule kept to it."""

    region: str | None = column("null: of every region")
    store: str | None = column("null: of every store")
    first: date = column("its first day, on the store's own clock")
    last: date = column("its last day")
    reason: str = column("why")


@table("verdict_rule", watched=True, key=("name",), since=6)
class VerdictLimit:
    """A limit that verdicts on a rollout go by, as it was when the first store got its wave."""

    name: str = column("as in the rules file")
    value: float = column("the value")
    stated_on: date = column("day of the run")
