"""Changes of Wi-Fi that would clear the air: what each gives back, and whom to ask."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import fsum

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv

from pipeline.plan.costs import Priced, clear_air, priced
from pipeline.plan.explain import Case
from pipeline.plan.sensitivity import bettered
from pipeline.plan.wifi import (
    LESS_DB,
    NARROW,
    WIDE,
    Shares,
    WifiChange,
    WifiHere,
    WifiTerms,
    came,
    cost_then,
    inferred,
    left_busy,
    reached,
)
from pipeline.radio.channels import CHANNELS, WIFI_CHANNELS
from pipeline.tables.plan import WifiAvoid, WifiRequest

MOST_REQUESTS = 3
_MOST_AVOIDED = 5
_TO = (1, 6, 11)  # Wi-Fi channels that do not overlap: common practice
_DRAWS = 100
_SURVEY_SPREAD = 0.8  # of a utilisation's logit: that of a visit (docs/method.md, 3)
_MOST_BUSY = 0.999
Figures = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WifiStanding:
    """A store with its plan: channels by station, costs, and the Wi-Fi heard.

    `anyway` are the channels that cost least with no Wi-Fi changed, what moves cost more aside, and
    `cost` is theirs: what they better needs nobody to be asked.
    """

    case: Case
    after: tuple[int, ...]
    anyway: tuple[int, ...]
    rows: tuple[WifiHere, ...]
    terms: WifiTerms
    before: Shares
    tables: Priced
    cost: float

    @classmethod
    def of(
        cls, case: Case, after: Sequence[int], rows: Sequence[WifiHere], terms: WifiTerms
    ) -> "WifiStanding":
        """Return a store as it stands; `after` are the plan's channels, each one of the choices."""
        tables = priced(case.problem)
        before = inferred(rows, terms)
        anyway = tuple(bettered(tables, after))
        cost = tables.total(anyway)
        return cls(case, tuple(after), anyway, tuple(rows), terms, before, tables, cost)

    def then(self, shares: Shares) -> Priced:
        """Return the costs with other Wi-Fi; what stations cost one another stays."""
        one = []
        for station, row in zip(self.case.problem.stations, self.tables.one, strict=True):
            line = list(row)
            for a, channel in enumerate(station.choices):
                at = (station.station, channel)
                if self.before.get(at) != shares.get(at):
                    line[a] += station.weight * self._dearer(at, shares)
            one.append(line)
        return Priced(self.case.problem, one, self.tables.two)

    def _dearer(self, at: tuple[str, int], shares: Shares) -> float:
        known = self.case.evidence.get(at)
        if known is None or known.source == "absent":
            return 0.0
        then = left_busy(known.reckoned, self.before.get(at, {}), shares.get(at, {}))
        return cost_then(known.cost, known.reckoned, then) - known.cost


@dataclass(frozen=True, slots=True)
class _Option:
    """A change of networks (`rows`, as they are), the air then, its worth in the plan's units."""

    change: WifiChange
    own: bool | None
    rows: tuple[WifiHere, ...]
    after: Shares
    worth: float
    channels: tuple[int, ...]


def requests(standing: WifiStanding) -> tuple[WifiRequest, ...]:
    """Return the changes of Wi-Fi that give back most, one for each Wi-Fi channel and owner.

    Networks of others can only be avoided; of one not known whose it is, that is said.
    """
    best: dict[tuple[int, bool | None], _Option] = {}
    for own, change in _options(standing.rows):
        found = _option(standing, own, change)
        at = (found.rows[0].wifi_channel, own)
        if found.worth > max(0.0, best[at].worth if at in best else 0.0):
            best[at] = found
    ranked = sorted(best.values(), key=lambda o: (-o.worth, o.rows[0].wifi_channel, o.own is None))
    draws = _Drawn(standing.case, standing.before)
    told = [_request(standing, one, draws) for one in ranked[:MOST_REQUESTS]]
    told = [one for one in told if max(one.gives, one.plan_gives) >= standing.terms.least]
    return tuple(replace(one, rank=rank) for rank, one in enumerate(told, start=1))


def _options(rows: Sequence[WifiHere]) -> list[tuple[bool | None, WifiChange]]:
    """Return every change to try, with whose networks they are."""
    found = []
    groups = sorted({(r.wifi_channel, r.ours is None) for r in rows if r.ours is not False})
    for channel, unknown in groups:
        group = [r for r in rows if r.wifi_channel == channel and (r.ours is None) == unknown]
        group = [r for r in group if r.ours is not False]
        names = frozenset(r.network for r in group)
        changes = [WifiChange(names, "channel", to) for to in _TO if to != channel]
        if any(r.width_mhz == WIDE for r in group):
            changes.append(WifiChange(names, "width"))
        changes.append(WifiChange(names, "power"))
        found += [(None if unknown else True, change) for change in changes]
    return found


def _option(standing: WifiStanding, own: bool | None, change: WifiChange) -> _Option:
    """Return a change with its worth: the cost of the plan bettered anyway less of that then."""
    shares = inferred(change.made(standing.rows), standing.terms)
    here = tuple(row for row in standing.rows if row.network in change.networks)
    tables = standing.then(shares)
    channels = tuple(bettered(tables, standing.anyway))
    return _Option(change, own, here, shares, standing.cost - tables.total(channels), channels)


def _request(standing: WifiStanding, one: _Option, draws: "_Drawn") -> WifiRequest:
    rows, after, terms = one.rows, standing.after, standing.terms
    same, best = draws.gain(one, after, after), draws.gain(one, standing.anyway, one.channels)
    pairs = zip(after, standing.anyway, one.channels, strict=True)
    moved = [
        f"{s.station} {was} → {c}"
        for s, (was, anyway, c) in zip(standing.case.problem.stations, pairs, strict=True)
        if c not in {was, anyway}
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
        to_width_mhz=NARROW if one.change.what == "width" else None,
        less_db=LESS_DB if one.change.what == "power" else None,
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

    def __init__(self, case: Case, before: Shares) -> None:
        self.case, self.before = case, before
        self.drawn: dict[tuple[str, int], Figures] = {}
        self.problem = case.problem
        random = np.random.default_rng(0)
        # Less half the variance: a small use is on average what the survey tells.
        strays = random.standard_normal((len(WIFI_CHANNELS), _DRAWS)) - _SURVEY_SPREAD / 2
        self.shift = dict(zip(WIFI_CHANNELS, _SURVEY_SPREAD * strays, strict=True))
        self.part = random.random(_DRAWS)  # of what was measured beyond the survey: Wi-Fi too
        self.even = (np.arange(_DRAWS) + 0.5) / _DRAWS
        # Stations hear the same networks: one scanned in a quiet hour, so were the others.
        self.orders = {c: random.permutation(_DRAWS) for c in CHANNELS}

    def gain(self, one: _Option, channels: Sequence[int], then: Sequence[int]) -> Figures:
        """Return the gain in clear air by labels of the change, from some channels to others."""
        weights = np.array([s.weight for s in self.problem.stations])
        weights = weights if weights.sum() else np.ones(len(weights))
        total = np.zeros(_DRAWS)
        pairs = zip(
            self.problem.stations, weights, self._own(channels), self._own(then), channels, then,
            strict=True,
        )  # fmt: skip
        for s, weight, own, own_then, a, b in pairs:
            left = own_then * (1 - self._then(one, (s.station, b)))
            total += weight * (left - own * (1 - self._now((s.station, a))))
        gained: Figures = total / weights.sum()
        return gained

    def _own(self, channels: Sequence[int]) -> list[float]:
        """Return the share of time that own stations leave free, by station."""
        air = clear_air(self.problem, channels)
        pairs = zip(self.problem.stations, channels, strict=True)
        noise = [self.problem.noise(s.station, channel) for s, channel in pairs]
        return [free / max(1e-9, 1 - busy) for free, busy in zip(air, noise, strict=True)]

    def _now(self, at: tuple[str, int]) -> Figures:
        """Return how busy a channel is, drawn once for all changes."""
        if at not in self.drawn:
            known = self.case.evidence.get(at)
            self.drawn[at] = (
                np.zeros(_DRAWS)
                if known is None
                else betaincinv(known.a, known.b, self.even)[self.orders[at[1]]]
            )
        return self.drawn[at]

    def _then(self, one: _Option, at: tuple[str, int]) -> Figures:
        """Return how busy a channel is once a change is made."""
        known, drawn = self.case.evidence.get(at), self._now(at)
        if known is None or known.source == "absent":
            return drawn
        then, moved_from = one.after.get(at, {}), one.rows[0].wifi_channel
        was = self._sum(self.before.get(at, {}), moved_from)
        added = self._sum(came(then), moved_from)
        kept = self._sum(then, moved_from) - added
        measured = -np.log1p(-np.minimum(drawn, _MOST_BUSY))
        scale = measured / np.maximum(was, 1e-12)
        scale = np.where(scale > 1, 1 + self.part * (scale - 1), scale)
        left: Figures = 1 - np.exp(-np.maximum(0.0, measured - scale * (was - kept) + added))
        return left

    def _sum(self, parts: Mapping[tuple[int, bool], float], moved_from: int) -> Figures:
        """Return the sum of the networks' parts, as -ln, for every draw of the survey's doubt."""
        total = np.zeros(_DRAWS)
        for (wifi_channel, moved), share in parts.items():
            shift = self.shift[moved_from if moved else wifi_channel]
            odds = np.log(max(share, 1e-6)) - np.log1p(-share) + shift
            total += np.log1p(np.exp(odds))
        return total


def avoided(standing: WifiStanding) -> tuple[WifiAvoid, ...]:
    """Return the networks of others that take most of the plan's channels, the costliest first."""
    others: dict[str, list[WifiHere]] = {}
    for row in standing.rows:
        if row.ours is False and reached(row, standing.terms.threshold_dbm):
            others.setdefault(row.network, []).append(row)
    found = []
    for network, group in sorted(others.items()):
        change = WifiChange(frozenset({network}), "off")
        levels = [row.level_dbm for row in group if row.level_dbm is not None]
        found.append(
            WifiAvoid(
                store=group[0].store,
                network=network,
                wifi_channel=group[0].wifi_channel,
                width_mhz=max(row.width_mhz for row in group),
                loudest_dbm=max(levels, default=None),
                stations=len(group),
                costs=_taken(standing, change),
            )
        )
    found.sort(key=lambda one: (-one.costs, -one.stations, one.network))
    return tuple(found[:_MOST_AVOIDED])


def _taken(standing: WifiStanding, change: WifiChange) -> float:
    """Return the clear air that networks take on the plan's channels, by labels."""
    without = inferred(change.made(standing.rows), standing.terms)
    stations = standing.case.problem.stations
    taken = []
    for station, channel in zip(stations, standing.after, strict=True):
        at = (station.station, channel)
        known = standing.case.evidence.get(at)
        if known is not None and known.source != "absent":
            then = left_busy(known.reckoned, standing.before.get(at, {}), without.get(at, {}))
            taken.append(station.weight * (known.reckoned - then))
    return max(0.0, fsum(taken) / max(1e-9, fsum(s.weight for s in stations)))
