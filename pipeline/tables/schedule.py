"""The nights of work, and what has no night."""

from datetime import date, datetime

from pipeline.tables.declare import column, table


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
