"""What a simulated chain is like, and the settings the estimator is measured on."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Setting:
    """One way of surveying one kind of chain.

    `readings` are those of a station and channel over all its visits; `span_s` is how long one
    visit lasts. `spread` is the standard deviation of the logarithm of a network's load over time.
    `hours` are those in which visits start. `null` makes every channel of a station equally busy,
    on average: so much, or up to `null_most`, drawn for each store. `stations` is how many each
    store has; None: 2 to 10.
    `statistic` and `dwell_ms` say what the scanner reports.
    """

    name: str
    readings: int = 60
    visits: int = 2
    span_s: float = 1800.0
    stores: int = 60
    statistic: str = "single"
    dwell_ms: float = 0.128
    spread: float = 1.0
    daily: float = 0.6
    burst_ms: float = 2.0
    tail: float = 1.5
    hours: tuple[float, float] = (9.0, 19.0)
    days: int = 28
    surveyed: bool = True
    null: float | None = None
    null_most: float | None = None
    stations: int | None = None


TRADING = (8.0, 20.0)
"""The hours that matter: labels are updated in them."""

SETTINGS = (
    Setting("5 readings, one visit", readings=5, visits=1),
    Setting("10 readings, one visit", readings=10, visits=1),
    Setting("60 readings, two visits", readings=60, visits=2),
    Setting("300 readings, three visits", readings=300, visits=3, stores=40),
    Setting("2,000 readings, ten visits", readings=2000, visits=10, stores=12),
    Setting("60 in one visit", readings=60, visits=1),
    Setting("60 in four visits", readings=60, visits=4),
    Setting("60 in twelve visits", readings=60, visits=12),
    Setting("60 over five days", readings=60, visits=5, span_s=36000.0),
    Setting("60 within 1.2 s", readings=60, visits=1, span_s=1.2),
    Setting(
        "60 maxima of 138 ms, two visits", readings=60, visits=2, statistic="max", dwell_ms=138.24
    ),
    Setting(
        "60 means of 138 ms, two visits", readings=60, visits=2, statistic="mean", dwell_ms=138.24
    ),
    Setting("60, two visits, no Wi-Fi survey", readings=60, visits=2, surveyed=False),
    Setting("60, two visits at night", readings=60, visits=2, hours=(0.0, 23.0), daily=0.8),
    Setting("60, two visits, wild load", readings=60, visits=2, spread=1.6),
    Setting("60, two visits, one store", readings=60, visits=2, stores=1),
)
