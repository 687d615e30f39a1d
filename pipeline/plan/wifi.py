"""Wi-Fi as stations hear it, and the air as it would be with another: a survey cut to the scans.

A Wi-Fi survey says how much of a channel each network takes, a scan how busy the channel is in all.
So the networks' part is what the survey infers, but together no more than the scan measured: in
-ln of the share left free, in which parts add up, each is cut in the same proportion.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cache
from math import exp, fsum, inf

from pipeline.plan.costs import share_cost
from pipeline.plan.explain import Case
from pipeline.radio.channels import (
    CHANNELS,
    DSSS_22,
    HT_20,
    HT_40,
    WIFI_PAIR_PRIMARIES,
    channel_share_db,
    wifi_band,
    wifi_pair_band,
)

LESS_DB = 6.0  # half the range, about: common practice
NARROW, WIDE = 20, 40  # MHz
_OLD = 22
_MOST_BUSY = 0.999


@dataclass(frozen=True, slots=True)
class WifiHere:
    """A network as a station hears it; `moved`: it would come to its Wi-Fi channel anew."""

    store: str
    station: str
    network: str
    wifi_channel: int
    width_mhz: int
    secondary: str | None
    level_dbm: float | None
    utilisation_pct: float | None
    ours: bool | None
    moved: bool = False


@dataclass(frozen=True, slots=True)
class WifiTerms:
    """What is reckoned with: the threshold in dBm; usual use, least gain and interval, 0..1."""

    threshold_dbm: float
    usual: float
    least: float
    interval: float

    @classmethod
    def of(cls, limits: Mapping[str, float]) -> "WifiTerms":
        """Return those of the rules file."""
        return cls(
            limits["cca_threshold_dbm"],
            limits["utilisation_default_pct"] / 100,
            limits["request_gain_least"],
            limits["interval_share"],
        )


@dataclass(frozen=True, slots=True)
class WifiChange:
    """Networks to change together, and how: 'channel', 'width', 'power' or 'off'."""

    networks: frozenset[str]
    what: str
    to_channel: int | None = None

    def made(self, rows: Sequence[WifiHere]) -> list[WifiHere]:
        """Return the networks as they would be heard after the change."""
        found = []
        for row in rows:
            if row.network not in self.networks:
                found.append(row)
            elif self.what == "width":
                found.append(replace(row, width_mhz=NARROW, secondary=None))
            elif self.what == "power":
                level = None if row.level_dbm is None else row.level_dbm - LESS_DB
                found.append(replace(row, level_dbm=level))
            elif self.what == "channel" and self.to_channel is not None:
                wide = row.width_mhz == WIDE
                secondary = _side(self.to_channel) if wide else None
                moved = replace(row, wifi_channel=self.to_channel, secondary=secondary, moved=True)
                found.append(moved)
        return found


def _side(channel: int) -> str:
    """Return the side on which a 40 MHz channel has room for its other half."""
    return "above" if channel in WIFI_PAIR_PRIMARIES["above"] else "below"


def owned(rows: Sequence[WifiHere], own: Sequence[str]) -> list[WifiHere]:
    """Return networks with whose they are: as the export says, else by the rules file's names."""
    names = [name.casefold() for name in own]
    return [
        replace(row, ours=any(fnmatchcase(row.network.casefold(), name) for name in names))
        if row.ours is None and names
        else row
        for row in rows
    ]


Shares = Mapping[tuple[str, int], Mapping[tuple[int, bool], float]]
"""By station and channel, the share of time that each Wi-Fi channel takes in it."""


def inferred(rows: Sequence[WifiHere], terms: WifiTerms) -> Shares:
    """Return what the survey infers; networks on one Wi-Fi channel share it, the busiest counts.

    One that comes anew takes its time besides.
    """
    found: dict[tuple[str, int], dict[tuple[int, bool], float]] = {}
    for row in rows:
        share = terms.usual if row.utilisation_pct is None else row.utilisation_pct / 100
        for channel in reached(row, terms.threshold_dbm):
            parts = found.setdefault((row.station, channel), {})
            at = (row.wifi_channel, row.moved)
            parts[at] = min(_MOST_BUSY, max(parts.get(at, 0.0), share))
    return found


def reached(row: WifiHere, threshold_dbm: float) -> list[int]:
    """Return the channels in which a network is heard above the threshold."""
    level = inf if row.level_dbm is None else row.level_dbm
    shares = _shares_db(row.wifi_channel, row.width_mhz, row.secondary)
    pairs = zip(CHANNELS, shares, strict=True)
    return [c for c, share_db in pairs if level + share_db > threshold_dbm]


@cache
def _shares_db(wifi_channel: int, width_mhz: int, secondary: str | None) -> tuple[float, ...]:
    """Return the share of a Wi-Fi signal in each channel, in dB; of two places the louder."""
    if width_mhz == WIDE:
        sides = [
            wifi_pair_band(wifi_channel, "above" if side == "above" else "below")
            for side, primaries in WIFI_PAIR_PRIMARIES.items()
            if wifi_channel in primaries and secondary in {None, side}
        ]
        if sides:
            return tuple(
                max(channel_share_db(c, band.centre_mhz, HT_40) for band in sides) for c in CHANNELS
            )
    mask = DSSS_22 if width_mhz == _OLD else HT_20
    centre = wifi_band(wifi_channel).centre_mhz
    return tuple(channel_share_db(c, centre, mask) for c in CHANNELS)


def changed_air(case: Case, before: Shares, after: Shares) -> Case:
    """Return a case with the air as it would be once what the survey infers has changed."""
    problem = case.problem
    busy, cost, evidence = dict(problem.busy), dict(problem.cost or {}), dict(case.evidence)
    for at, known in case.evidence.items():
        if before.get(at) == after.get(at) or known.source == "absent":
            continue
        share = left_busy(known.reckoned, before.get(at, {}), after.get(at, {}))
        worth = known.a + known.b
        busy[at] = share
        cost[at] = cost_then(known.cost, known.reckoned, share)
        mean = min(max(share, 1e-6), 1 - 1e-6)
        evidence[at] = replace(
            known, share=share, cost=cost[at], a=mean * worth, b=(1 - mean) * worth
        )
    new = replace(problem, busy=busy, cost=cost if problem.cost is not None else None)
    return replace(case, problem=new, evidence=evidence)


def left_busy(
    busy: float, before: Mapping[tuple[int, bool], float], after: Mapping[tuple[int, bool], float]
) -> float:
    """Return how busy a channel is once the survey's networks have changed."""
    was, becomes, added = (_cost(shares) for shares in (before, after, came(after)))
    measured = share_cost(busy)
    scale = min(1.0, measured / was) if was else 1.0
    return 1 - exp(-max(0.0, measured - scale * (was - becomes + added) + added))


def came(shares: Mapping[tuple[int, bool], float]) -> Mapping[tuple[int, bool], float]:
    """Return the parts of networks that would come anew; what was measured has nothing of them."""
    return {at: share for at, share in shares.items() if at[1]}


def _cost(shares: Mapping[tuple[int, bool], float]) -> float:
    return fsum(map(share_cost, shares.values()))


def cost_then(cost: float, busy: float, then: float) -> float:
    """Return the expected cost of a channel that becomes more or less busy, from that of today."""
    was, becomes = share_cost(busy), share_cost(then)
    return cost * becomes / was if becomes < was else cost + becomes - was
