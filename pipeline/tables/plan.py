"""The plan of every store: stations, moves in order, proof, how firm; what no channel settles."""

from datetime import date

from pipeline.tables.declare import column, table


@table("move")
class Move:
    """The current plan's channel changes, in order.

    A parking step is a row of its own.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    from_channel: int | None = column(
        "channel before the move, 11..26; null: the station's first setting"
    )
    to_channel: int = column("channel after the move, 11..26")
    position: int = column("1 is the first in the store")
    parking: bool = column("a step on the way, not the final channel")
    clear_air_before: float | None = column(
        "of this station, before the whole plan, 0..1; null: not known", digits=6
    )
    clear_air_before_low: float | None = column("5 % point of it", digits=6, since=2)
    clear_air_before_high: float | None = column("95 % point of it", digits=6, since=2)
    clear_air_after: float | None = column(
        "of this station, after the whole plan, 0..1; null: not known", digits=6
    )
    clear_air_after_low: float | None = column("5 % point of it", digits=6, since=2)
    clear_air_after_high: float | None = column("95 % point of it", digits=6, since=2)
    chance: float | None = column(
        "that the moves of its group gain anything, 0..1; null: the channel of today is not "
        "permitted, or there is none",
        digits=4,
        since=2,
    )
    reason: str = column("one sentence, in English")
    facts: str = column(
        "the same as JSON, to be worded in other languages", sql="varchar default ''"
    )
    group_no: int | None = column(
        "moves of a store with the same number need one another: all of them, or none", since=3
    )
    group_gain: float | None = column(
        "what the group gains, in clear air of a station of average size; null: all must move",
        digits=6,
        since=3,
    )
    pan_id: int | None = column(
        "of a first setting: the PAN ID to give it; null: another move, or none is left", since=6
    )
    tx_power_dbm: float | None = column(
        "of a first setting: the transmit power to set; null: another move", since=6
    )
    name: str | None = column(
        "of a first setting: the name to give it; null: another move", since=6
    )


@table("pan_id_given", key=("pan_id",), since=6)
class PanIdGiven:
    """The PAN IDs given to stations before they were installed: each once, and for ever."""

    pan_id: int = column("the PAN ID")
    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    given_on: date = column("the day of the run that gave it")


@table("station_plan")
class StationPlan:
    """What the plan says of every station, moved or left alone."""

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel_now: int | None = column("channel of today; null: still to be installed")
    channel_planned: int = column("channel of the plan")
    clear_air_now: float | None = column("0..1; null: not known", digits=6)
    clear_air_now_low: float | None = column("5 % point of it", digits=6, since=2)
    clear_air_now_high: float | None = column("95 % point of it", digits=6, since=2)
    clear_air_planned: float | None = column(
        "0..1, once the plan is done; null: not known", digits=6
    )
    clear_air_planned_low: float | None = column("5 % point of it", digits=6, since=2)
    clear_air_planned_high: float | None = column("95 % point of it", digits=6, since=2)
    chance: float | None = column(
        "that the moves of its group gain anything, 0..1; null: no move, or one that must be",
        digits=4,
        since=2,
    )
    busy_now: float | None = column(
        "outside signals on today's channel, 0..1; null: not known", digits=6
    )
    busy_planned: float | None = column("the same on the planned channel", digits=6)
    source_planned: str = column("of the evidence on the planned channel")
    next_best_channel: int | None = column(
        "its channel in the plan solved anew with this one refused; null: it stays, or has no other"
    )
    next_best_cost: float | None = column(
        "what it costs to refuse: so much more than the plan, surcharges and visits in both",
        digits=6,
    )
    sureness: str = column(
        "'high', 'fair' or 'low': of a move from its chance, else from the interval"
    )
    reason: str = column("one sentence, in English")
    facts: str = column(
        "the same as JSON, to be worded in other languages", sql="varchar default ''"
    )
    kept: float | None = column(
        "share of the draws whose best plan has it on the planned channel, 0..1; null: not drawn",
        digits=4,
        since=6,
    )


@table("plan_proof")
class PlanProof:
    """How good each store's plan is proven to be."""

    store: str = column("the store's key")
    cost: float = column("cost of the plan, in its own units")
    bound: float = column("proven lower bound of the cost")
    optimal: bool = column("whether cost and bound meet")
    cost_now: float = column("of leaving every channel as it is")
    solver: str = column("which solver found it")
    order_proven: bool = column("the order of moves is proven best")
    worst_step: float = column("cost of the worst state on the way")


@table("owed_next_door", since=7)
class OwedNextDoor:
    """Stations of stores planned together whose channel is another because of those next door.

    Another, that is, than in the plan of the store as if nobody were next door.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel_alone: int = column("its channel in the plan of the store alone")
    neighbour_store: str | None = column(
        "the store next door of the loudest station that would disturb it there; null: none would, "
        "it makes room for others"
    )
    neighbour: str | None = column("that station, by its key within its store")
    heard_dbm: float | None = column("at which level it is heard")


@table("unplanned_store")
class UnplannedStore:
    """Stores for which no plan could be made, with the sentence why."""

    store: str = column("the store's key")
    reason: str = column("the sentence why")
    facts: str | None = column("why, as JSON; null: planned by an earlier version", since=7)


@table("plan_sensitivity")
class PlanSensitivity:
    """How sure each store's plan is: planned again on evidence drawn anew within its doubt."""

    store: str = column("the store's key")
    draws: int = column("how many times it was planned again", sql="bigint")
    wins: int = column("draws in which no other plan was better", sql="bigint")
    regret: float = column(
        "how much more it cost than the draw's best, on average, in units of the plan", digits=6
    )
    ask: str = column("the level that is to be measured first, as JSON; empty: none matters")
    near: int | None = column(
        "draws in which it was within half a point of label-weighted clear air of the best",
        sql="bigint",
        since=4,
    )
    worst: float | None = column(
        "how much more it cost than the draw's best, at worst", digits=6, since=6
    )
    unsettled: float | None = column(
        "chance that 2,000 more readings of every channel change the plan by more than the price "
        "of a change, 0..1; settled below `unsettled_most`",
        digits=4,
        since=8,
    )


@table("scan_next", since=8)
class ScanNext:
    """The scans that settle each store's plan, best first; none where the decision is settled.

    A visit reads all the channels named of a station; the rows of one station share its place.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    place: int = column("1 is the station to scan first in its store")
    channel: int = column("the channel to read, 11..26")
    visits: int = column("how many visits, each on a day of its own")
    readings: int = column("readings of the channel in each visit")
    worth: float = column(
        "what each visit is expected to gain the plan, in clear air of a station of average size",
        digits=6,
    )
    carried: float = column("how much less without this channel", digits=6)
    quiet: bool = column("an own station in earshot uses the channel or one beside it: quiet it")
    turns_at: float | None = column(
        "share of these readings found busy at which the plan turns: on the planned channel from "
        "so much on, on others up to so much; null: this channel alone does not turn it",
        digits=2,
    )
    channel_then: int | None = column("the station's channel in the plan that it turns to")


@table("cover_store", since=8)
class CoverStore:
    """How many labels of a store no channel can help, and what further places would do for them."""

    store: str = column("the store's key")
    labels: int = column("labels with a station", sql="bigint")
    levels: int = column("of those, with a level in the export", sql="bigint")
    weak_labels: int = column("of those, below the weak level on any channel", sql="bigint")
    share_now: float | None = column(
        "share of labels at the weak level or above, 0..1; null: not known", digits=6
    )
    places: int | None = column(
        "the fewest further places that bring the share asked for; null: three of those tried do "
        "not, or nothing is worked out", sql="bigint",
    )  # fmt: skip
    share_then: float | None = column("the share with the places chosen, expected", digits=6)
    bound: float | None = column("the most that so many of the places tried could bring", digits=6)
    optimal: bool | None = column("whether share and bound meet")
    why: str | None = column(
        "why nothing is worked out: 'enough', 'no-levels', 'unplaced', 'no-place'; null: it is"
    )


@table("cover_place", since=8)
class CoverPlace:
    """A place where a further station or antenna would bring weak labels up to the weak level."""

    store: str = column("the store's key")
    rank: int = column("1 is the one that helps most")
    place: str = column("its name; of a middle, the two stations it lies between")
    kind: str = column("'given' by the rules file, a 'mount' that exists, or a 'middle'")
    floor: int = column("floor; 0 is the ground floor")
    x_m: float = column("position east of the plan's origin", digits=2)
    y_m: float = column("position north of the plan's origin", digits=2)
    rescued: float = column("labels it brings up to the weak level, expected", digits=3)
    rescued_low: int = column("5 % point of it", sql="bigint")
    rescued_high: int = column("95 % point of it", sql="bigint")
    verdict: str = column("'order', 'measure' (not known: measure there first) or 'no'")
    reach_m: float = column("how far it would be heard at the weak level, on average", digits=2)
    channel: int | None = column("the channel it would take; null: the store has no plan")
    air_lost: float | None = column(
        "clear air, 0..1, by labels, that it would cost the other stations", digits=6
    )


@table("wifi_request", since=8)
class WifiRequest:
    """A change of Wi-Fi to ask for, and the clear air it would give back; best first.

    Clear air is the mean over the store's stations, by labels, 0..1, against the plan as it is.
    """

    store: str = column("the store's key")
    rank: int = column("1 is the one that gives back most")
    own: bool | None = column("whether the network is the shop's own; null: not known whose")
    what: str = column("'channel', 'width' or 'power'")
    networks: str = column("the networks to change, '; ' between them")
    wifi_channel: int = column("their Wi-Fi channel")
    width_mhz: int = column("the widest of their channels")
    to_channel: int | None = column("what: channel: the Wi-Fi channel to go to")
    to_width_mhz: int | None = column("what: width: the width to go to")
    less_db: float | None = column("what: power: by how much to lower it")
    gives: float = column("given back with the plan's channels as they are", digits=6)
    gives_low: float = column("5 % point of it", digits=6)
    gives_high: float = column("95 % point of it", digits=6)
    plan_gives: float = column("given back with the plan that would then be best", digits=6)
    plan_gives_low: float = column("5 % point of it", digits=6)
    plan_gives_high: float = column("95 % point of it", digits=6)
    channels: str = column(
        "the channels of that plan that are others, 'station 15 → 20, ...'; or empty"
    )


@table("wifi_avoid", since=8)
class WifiAvoid:
    """A network of others that a plan can only avoid, the costliest first."""

    store: str = column("the store's key")
    network: str = column("its name or address")
    wifi_channel: int = column("its Wi-Fi channel")
    width_mhz: int = column("width of its channel")
    loudest_dbm: float | None = column("the loudest it is heard at a station")
    stations: int = column("stations that hear it above the threshold", sql="bigint")
    costs: float = column("clear air it takes on the plan's channels, by labels, 0..1", digits=6)
