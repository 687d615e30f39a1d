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


@table("earshot_next_door", since=7)
class EarshotNextDoor:
    """Who hears whom through the wall between two stores; the rest is as in earshot."""

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    neighbour_store: str = column("the store next door")
    neighbour: str = column("the station it hears, by its key within that store")
    heard_dbm: float = column("level of the neighbour at the station")
    spread_db: float = column("standard deviation of that level")
    source: str = column("'measured' or 'modelled'")
    hit_co: float = column("chance that it disturbs on the same channel, 0..1")
    hit_adjacent: float = column("the same one channel apart")
    hit_alternate: float = column("the same two channels apart")


@table("store_joined", since=7)
class StoreJoined:
    """Stores that are planned together, because they hear one another or stand on one site."""

    store: str = column("the store's key")
    joint: str = column("what the stores planned together are called: their keys, 'A + B'")


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
    levels: int | None = column("labels whose level the export has", sql="bigint", since=8)


@table("ed_evidence")
class EdEvidence:
    """How busy the air is: one row per station of today and channel 11..26."""

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel: int = column("IEEE 802.15.4 channel, 11..26")
    readings: int = column("how many readings", sql="bigint")
    visits: int = column("runs of readings less than six hours apart", sql="bigint", since=2)
    worth: float = column("what the readings count as, in independent ones", digits=3)
    busy_estimate: float | None = column(
        "share of time outside signals keep it busy, 0..1; null: not known", digits=6, since=2
    )
    busy_low: float | None = column("5 % point of that share", digits=6, since=2)
    busy_high: float | None = column("95 % point of that share", digits=6, since=2)
    expected_cost: float = column(
        "E[-ln(1 - share)]; where nothing is known, of the portfolio's prior", digits=6, since=2
    )
    a: float = column("first parameter of the Beta of that mean and variance", since=2)
    b: float = column("its second parameter", since=2)
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
    one_moment: bool = column("all readings are of one moment", since=2)
    basis: str = column("one sentence: where the figure comes from")
    frames_lost: float | None = column(
        "share of frames at labels lost to interference below the threshold; no part of clear air",
        digits=6,
        since=4,
    )


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


@table("block_today", since=2)
class BlockToday:
    """Readings on the channels each station is or was on, folded by visit and hour.

    From these a change is judged: the channel it went to against the one it left.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    channel: int = column("IEEE 802.15.4 channel, 11..26")
    visit: int = column("readings less than six hours apart are of one visit; from 0", sql="bigint")
    begins: datetime = column("begin of the visit, on the store's clock")
    hour: int = column("full hour of the readings, 0..23")
    statistic: str = column("as in ed_reading")
    dwell_ms: float | None = column("time one reading stands for")
    level_dbm: float | None = column("power mean of the readings, where they are means")
    readings: int = column("how many readings", sql="bigint")
    busy: int = column("how many of them were above the threshold", sql="bigint")
    still: int | None = column(
        "where they are means: how many of them were at the radio's floor", sql="bigint", since=9
    )
    span_s: float = column("from the first of these readings to the last, in seconds")
    wifi_share: float | None = column("share a Wi-Fi survey infers; null: not surveyed")
    burst_dbm: float | None = column("loudest network of that survey within the channel")
    wifi_seen_at: date | None = column("day of that survey")


@table("portfolio_fit", since=2)
class PortfolioFit:
    """What was fitted over the portfolio for the estimates of this run: one row."""

    fit: str = column("spreads, hour curve and priors, as JSON (docs/method.md)")
