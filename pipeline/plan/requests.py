"""Changes of Wi-Fi that would clear the air: what each gives back, and whom to ask.

A Wi-Fi survey says how much of a channel each network takes, a scan how busy the channel is in all.
So the networks' part is what the survey infers, but together no more than the scan measured: in
-ln of the share left free, in which parts add up, each is cut in the same proportion.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from functools import cache
from math import exp, fsum, inf, log1p

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv

from pipeline.plan.costs import StoreProblem, clear_air, priced
from pipeline.plan.explain import Case
from pipeline.plan.sensitivity import bettered
from pipeline.radio.channels import (
    CHANNELS,
    WIFI_PAIR_PRIMARIES,
    wifi_band,
    wifi_pair_band,
)
from pipeline.radio.masks import DSSS_22, HT_20, HT_40, channel_share_db
from pipeline.tables.cover import WifiAvoid, WifiRequest

MOST_REQUESTS = 3
_MOST_AVOIDED = 5
_TO = (1, 6, 11)  # Wi-Fi channels that do not overlap: common practice
_LESS_DB = 6.0  # half the range, about: common practice
_DRAWS = 200
_SURVEY_SPREAD = 0.8  # of a utilisation's logit: that of a visit (docs/method.md, 3)
_WIDE, _NARROW, _OLD = 40, 20, 22  # MHz
_MOST_BUSY = 0.999
Figures = npt.NDArray[np.float64]


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
    """What is reckoned with: the threshold in dBm, a usual utilisation 0..1, the least gain 0..1."""

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
                found.append(replace(row, width_mhz=_NARROW, secondary=None))
            elif self.what == "power":
                level = None if row.level_dbm is None else row.level_dbm - _LESS_DB
                found.append(replace(row, level_dbm=level))
            elif self.what == "channel" and self.to_channel is not None:
                wide = row.width_mhz == _WIDE
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
        for channel in _reached(row, terms.threshold_dbm):
            parts = found.setdefault((row.station, channel), {})
            at = (row.wifi_channel, row.moved)
            parts[at] = min(_MOST_BUSY, max(parts.get(at, 0.0), share))
    return found


def _reached(row: WifiHere, threshold_dbm: float) -> list[int]:
    """Return the channels in which a network is heard above the threshold."""
    level = inf if row.level_dbm is None else row.level_dbm
    shares = _shares_db(row.wifi_channel, row.width_mhz, row.secondary)
    return [c for c, share_db in zip(CHANNELS, shares, strict=True) if level + share_db > threshold_dbm]


@cache
def _shares_db(wifi_channel: int, width_mhz: int, secondary: str | None) -> tuple[float, ...]:
    """Return the share of a Wi-Fi signal in each channel, in dB; of two places the louder."""
    if width_mhz == _WIDE:
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
        share = _left(known.reckoned, before.get(at, {}), after.get(at, {}))
        ratio = _nepers(share) / _nepers(known.reckoned) if known.reckoned > 0 else 1.0
        worth = known.a + known.b
        busy[at] = share
        cost[at] = known.cost * ratio if ratio <= 1 else known.cost + _nepers(share) - _nepers(known.reckoned)
        mean = min(max(share, 1e-6), 1 - 1e-6)
        evidence[at] = replace(
            known, share=share, cost=cost[at], a=mean * worth, b=(1 - mean) * worth
        )
    new = replace(problem, busy=busy, cost=cost if problem.cost is not None else None)
    return replace(case, problem=new, evidence=evidence)


def _nepers(share: float) -> float:
    return -log1p(-min(share, _MOST_BUSY))


def _left(
    busy: float, before: Mapping[tuple[int, bool], float], after: Mapping[tuple[int, bool], float]
) -> float:
    """Return how busy a channel is once the survey's networks have changed."""
    was, becomes = (fsum(map(_nepers, shares.values())) for shares in (before, after))
    measured = _nepers(busy)
    scale = min(1.0, measured / was) if was else 1.0
    return 1 - exp(-max(0.0, measured - scale * (was - becomes)))


@dataclass(frozen=True, slots=True)
class _Option:
    change: WifiChange
    own: bool | None
    rows: tuple[WifiHere, ...]  # the networks as they are heard today
    after: Shares
    worth: float  # in the plan's units, by labels
    channels: tuple[int, ...] = field(default=())


def requests(
    case: Case, after: Sequence[int], rows: Sequence[WifiHere], terms: WifiTerms
) -> tuple[WifiRequest, ...]:
    """Return the changes of Wi-Fi that give back most, one for each Wi-Fi channel and owner.

    `after` are the plan's channels by station. Networks of others can only be avoided; of one not
    known whose it is, that is said.
    """
    before = inferred(rows, terms)
    best: dict[tuple[int, bool | None], _Option] = {}
    for own, change in _options(rows):
        found = _option(case, after, rows, terms, (own, change))
        if found is None:
            continue
        at = (found.rows[0].wifi_channel, own)
        if at not in best or found.worth > best[at].worth:
            best[at] = found
    ranked = sorted(best.values(), key=lambda o: (-o.worth, o.rows[0].wifi_channel, o.own is None))
    told = [_request(case, after, before, one, terms) for one in ranked[: 2 * MOST_REQUESTS]]
    told = [one for one in told if max(one.gives, one.plan_gives) >= terms.least]
    return tuple(replace(one, rank=rank) for rank, one in enumerate(told[:MOST_REQUESTS], start=1))


def _options(rows: Sequence[WifiHere]) -> list[tuple[bool | None, WifiChange]]:
    """Return every change to try, with whose networks they are."""
    found = []
    groups = sorted({(r.wifi_channel, r.ours is None) for r in rows if r.ours is not False})
    for channel, unknown in groups:
        group = [r for r in rows if r.wifi_channel == channel and (r.ours is None) == unknown]
        group = [r for r in group if r.ours is not False]
        names = frozenset(r.network for r in group)
        changes = [WifiChange(names, "channel", to) for to in _TO if to != channel]
        if any(r.width_mhz == _WIDE for r in group):
            changes.append(WifiChange(names, "width"))
        changes.append(WifiChange(names, "power"))
        found += [(None if unknown else True, change) for change in changes]
    return found


def _option(
    case: Case,
    after: Sequence[int],
    rows: Sequence[WifiHere],
    terms: WifiTerms,
    tried: tuple[bool | None, WifiChange],
) -> _Option | None:
    """Return a change with what it is worth: the plan's cost less that of the plan bettered then."""
    own, change = tried
    shares = inferred(change.made(rows), terms)
    then = changed_air(case, inferred(rows, terms), shares)
    here = tuple(row for row in rows if row.network in change.networks)
    now, tables = priced(case.problem).total(after), priced(then.problem)
    channels = bettered(tables, after)
    worth = now - tables.total(channels)
    return _Option(change, own, here, shares, worth, tuple(channels)) if worth > 0 else None


def _request(
    case: Case, after: Sequence[int], before: Shares, one: _Option, terms: WifiTerms
) -> WifiRequest:
    problem, rows = case.problem, one.rows
    draws = _Drawn(case, before, one.after)
    same, best = draws.gain(after, after), draws.gain(after, one.channels)
    moved = [
        f"{s.station} {c}"
        for s, was, c in zip(problem.stations, after, one.channels, strict=True)
        if was != c
    ]
    tail = (1 - terms.interval) / 2
    ends = [_told(figures, tail) for figures in (same, best)]
    return WifiRequest(
        store=rows[0].store,
        rank=0,
        own=one.own,
        what=one.change.what,
        networks="; ".join(sorted(one.change.networks)),
        wifi_channel=rows[0].wifi_channel,
        width_mhz=max(row.width_mhz for row in rows),
        to_channel=one.change.to_channel,
        to_width_mhz=_NARROW if one.change.what == "width" else None,
        less_db=_LESS_DB if one.change.what == "power" else None,
        gives=ends[0][0],
        gives_low=ends[0][1],
        gives_high=ends[0][2],
        plan_gives=ends[1][0],
        plan_gives_low=ends[1][1],
        plan_gives_high=ends[1][2],
        channels=", ".join(moved),
    )


def _told(figures: Figures, tail: float) -> tuple[float, float, float]:
    low, high = np.quantile(figures, [tail, 1 - tail])
    return float(figures.mean()), float(low), float(high)


class _Drawn:
    """Clear air drawn within its doubt, before and after a change; the same draws every time."""

    def __init__(self, case: Case, before: Shares, after: Shares) -> None:
        self.case, self.before, self.after = case, before, after
        self.problem: StoreProblem = case.problem
        wifi = sorted({at for shares in (before, after) for p in shares.values() for at in p})
        random = np.random.default_rng(0)
        self.shift = {at[0]: random.standard_normal(_DRAWS) * _SURVEY_SPREAD for at in wifi}
        self.even = (np.arange(_DRAWS) + 0.5) / _DRAWS
        self.orders = {s.station: random.permutation(_DRAWS) for s in self.problem.stations}

    def gain(self, channels: Sequence[int], then: Sequence[int]) -> Figures:
        """Return the gain in clear air by labels of the change, from some channels to others."""
        weights = np.array([s.weight for s in self.problem.stations])
        weights = weights if weights.sum() else np.ones(len(weights))
        total = np.zeros(_DRAWS)
        pairs = zip(
            self.problem.stations, weights, self._own(channels), self._own(then), channels, then,
            strict=True,
        )  # fmt: skip
        for s, weight, own, own_then, a, b in pairs:
            left = own_then * (1 - self._busy(s.station, b, changed=True))
            total += weight * (left - own * (1 - self._busy(s.station, a, changed=False)))
        gained: Figures = total / weights.sum()
        return gained

    def _own(self, channels: Sequence[int]) -> list[float]:
        """Return the share of time that own stations leave free, by station."""
        air = clear_air(self.problem, channels)
        noise = [self.problem.noise(s.station, c) for s, c in zip(self.problem.stations, channels, strict=True)]
        return [free / max(1e-9, 1 - busy) for free, busy in zip(air, noise, strict=True)]

    def _busy(self, station: str, channel: int, *, changed: bool) -> Figures:
        known = self.case.evidence.get((station, channel))
        if known is None:
            return np.zeros(_DRAWS)
        drawn = betaincinv(known.a, known.b, self.even)[self.orders[station]]
        at = (station, channel)
        if not changed or known.source == "absent":
            return np.asarray(drawn)
        was, becomes = (self._sum(shares.get(at, {})) for shares in (self.before, self.after))
        measured = -np.log1p(-np.minimum(drawn, _MOST_BUSY))
        scale = np.minimum(1.0, measured / np.maximum(was, 1e-12))
        left: Figures = 1 - np.exp(-np.maximum(0.0, measured - scale * (was - becomes)))
        return left

    def _sum(self, parts: Mapping[tuple[int, bool], float]) -> Figures:
        """Return the sum of the networks' parts, in nepers, for every draw of the survey's doubt."""
        total = np.zeros(_DRAWS)
        for (wifi_channel, _), share in parts.items():
            odds = np.log(max(share, 1e-6)) - np.log1p(-share) + self.shift[wifi_channel]
            total += np.log1p(np.exp(odds))
        return total


def avoided(
    case: Case, after: Sequence[int], rows: Sequence[WifiHere], terms: WifiTerms
) -> tuple[WifiAvoid, ...]:
    """Return the networks of others that take most of the plan's channels, the costliest first."""
    shares = inferred(rows, terms)
    others: dict[str, list[WifiHere]] = {}
    for row in rows:
        if row.ours is False:
            others.setdefault(row.network, []).append(row)
    weights = {s.station: s.weight for s in case.problem.stations}
    on = {s.station: c for s, c in zip(case.problem.stations, after, strict=True)}
    found = []
    for network, group in sorted(others.items()):
        change = WifiChange(frozenset({network}), "off")
        without = inferred(change.made(rows), terms)
        then = changed_air(case, shares, without)
        gains = [
            weights[station]
            * (case.problem.noise(station, channel) - then.problem.noise(station, channel))
            for station, channel in on.items()
        ]
        reached = [row for row in group if _reached(row, terms.threshold_dbm)]
        levels = [row.level_dbm for row in group if row.level_dbm is not None]
        found.append(
            WifiAvoid(
                store=group[0].store,
                network=network,
                wifi_channel=group[0].wifi_channel,
                width_mhz=max(row.width_mhz for row in group),
                loudest_dbm=max(levels, default=None),
                stations=len(reached),
                costs=max(0.0, fsum(gains) / max(1e-9, fsum(weights.values()))),
            )
        )
    heard = [one for one in found if one.stations]
    return tuple(sorted(heard, key=lambda one: (-one.costs, -one.stations, one.network))[:_MOST_AVOIDED])
