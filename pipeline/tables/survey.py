"""What the survey finds: who hears whom, what stations carry, how busy the air is."""

from datetime import date, datetime

from pipeline.tables.declare import column, table


@table("earshot")
class Earshot:
    """Who hears whom: levels at `station` from `neighbour`, and the chance that these disturb.

    A level disturbs where it stands above the clear-channel threshold: on the same channel, on the
    next, and on the next but one.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    neighbour: str = column("the station it hears")
    heard_dbm: float = column("level of the neighbour at the station")
    spread_db: float = column("standard deviation of that level")
    source: str = column("'measured' or 'modelled'")
    distance_m: float | None = column("distance between the two")
    hit_co: float = column("chance that it disturbs on the same channel, 0..1")
    hit_adjacent: float = column("the same one channel apart")
    hit_alternate: float = column("the same two channels apart")


@table("station_load")
class StationLoad:
    """What each station carries, from its labels."""

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    labels: int = column("labels it serves", sql="bigint")
    weak_labels: int = column("heard below the weak level", sql="bigint")
    silent_labels: int = column("not heard for longer than the limit", sql="bigint")
    lone_labels: int = column("hear one station only", sql="bigint")
    air_share: float = column("share of time the station transmits, 0..1")
    weight: float = column("its share of the plan: labels over the store's mean")


@table("ed_evidence")
class EdEvidence:
    """How busy the air is: one row per station of today and channel 11..26."""

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel: int = column("IEEE 802.15.4 channel, 11..26")
    readings: int = column("how many readings", sql="bigint")
    worth: float = column(
        "what the readings count as, in fresh ones of trading hours", sql="double default 0"
    )
    busy_share: float | None = column("share of readings above the clear-channel threshold")
    busy_bound: float = column("upper bound the plan reckons with")
    mean_dbm: float | None = column("power mean, averaged in mW")
    p50_dbm: float | None = column("median level")
    p90_dbm: float | None = column("90th percentile of the levels")
    p99_dbm: float | None = column("99th percentile of the levels")
    own_traffic: bool = column("taken beside our own traffic; no clean scan exists")
    source: str = column("'measured', 'inferred' (Wi-Fi survey) or 'absent'")
    wifi: str | None = column(
        "Wi-Fi channels heard above the threshold in it, '1, 6'; null: none known"
    )
    newest_at: datetime | None = column("moment of the newest reading")
    basis: str = column("one sentence: where the figure comes from")


@table("path_fit")
class PathFit:
    """The path-loss model of a store: its own fit where enough levels were measured."""

    store: str = column("the store's key")
    pairs: int = column("measured levels with a known distance", sql="bigint")
    exponent: float | None = column("2 is free space", digits=4)
    exponent_error: float | None = column("standard error", digits=4)
    loss_at_1m_db: float | None = column("loss at 1 m", digits=3)
    spread_db: float | None = column("of the measurements about the fit", digits=3)
    used: bool = column("whether the plan reckons with it")
    note: str = column("why, or why not")


@table("path_residual")
class PathResidual:
    """How far each measured level lies from its store's fit: measured loss less fitted loss."""

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    neighbour: str = column("the station it hears")
    distance_m: float = column("distance between the two", digits=3)
    loss_db: float = column("measured loss, floors taken off", digits=3)
    residual_db: float = column("measured loss less fitted loss", digits=3)


@table("reading_today")
class ReadingToday:
    """Energy readings on a station's channel of today, folded by level as the survey does.

    A change is judged from these once its station has been scanned on its new channel.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel: int = column("IEEE 802.15.4 channel, 11..26")
    level_dbm: float = column("level heard")
    statistic: str = column("as in ed_reading")
    scan_day: date = column("day of the scan on the store's clock")
    beside_own: bool = column("taken beside our own traffic")
    free_of_own: float = column("share of the time our own stations leave free, 0..1")
    readings: int = column("how many readings", sql="bigint")
    worth: float = column("what the readings count as, in fresh ones of trading hours")
