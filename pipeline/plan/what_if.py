"""What a person's own choice of channels would cost, against the plan."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import fsum
from typing import Any

from scipy.special import betaincinv

from pipeline.plan.assign import assign
from pipeline.plan.certificate import certificate
from pipeline.plan.costs import StoreProblem, clear_air, expected_cost, priced, tie_costs
from pipeline.plan.decide import Terms
from pipeline.plan.explain import Case, Evidence
from pipeline.plan.network import checked, to_grid
from pipeline.plan.scan import ScanVisit
from pipeline.plan.store import interval, plan_store, with_channels
from pipeline.records import OFF_AIR, OrderPrice

_NODES = 2_000  # of the tree of a proof: stores of up to some 24 stations take a few dozen


@dataclass(frozen=True, slots=True)
class Option:
    """One complete choice of channels: its cost in units of the plan, clear air 0..1."""

    name: str
    channels: tuple[int, ...]
    clear_air: tuple[float, ...]
    cost: float
    moves: int


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Today, the plan, the plan with the wish put in, and the best plan that grants the wish."""

    store: str
    stations: tuple[str, ...]
    options: tuple[Option, ...]
    not_permitted: tuple[str, ...]
    notes: tuple[str, ...] = ()


def what_if(  # noqa: PLR0913 - a case and what bounds it; the last two are options
    case: Case,
    wanted: Mapping[str, int],
    effort: int,
    terms: Terms,
    *,
    then: Case | None = None,
    before: Case | None = None,
) -> WhatIf:
    """Price a wish (station -> channel) in one store, against the plan on these terms.

    A channel the rules do not permit is priced all the same, and named in `not_permitted`.
    Stations must be in the store; the caller checks. `then` is the case as it would be, with
    stations added after those of `case`, or other air; today and the plan are without these. Where
    `case` knows of scans, `before` is the one without: all is priced by what is known then, and
    what would be the plan stands beside the plan of today.
    """
    asked = bool(wanted) or then is not None or before is None
    then = then or case
    problem = with_channels(then.problem, wanted)
    today = replace(
        problem, busy={**problem.busy, **case.problem.busy}, cost=_costs(problem, case.problem)
    )
    now = [station.channel for station in problem.stations]
    named = {"today": now, "plan": _planned(before or case, effort, terms)}
    if before is not None:
        named["plan after the scan"] = _planned(case, effort, terms)
    options = [_option(today, name, [*on, *now[len(on) :]]) for name, on in named.items()]
    if asked:
        put_in = [
            wanted.get(s.station, channel)
            for s, channel in zip(problem.stations, options[-1].channels, strict=True)
        ]
        put_in = _on_air(problem, put_in, effort)
        granted = {s.station: s.choices for s in then.problem.stations}
        granted |= {station: (channel,) for station, channel in wanted.items()}
        options.append(_option(problem, "plan with your choice", put_in))
        around = _best(problem, granted, effort)
        options.append(_option(problem, "best around your choice", around))
    return WhatIf(
        store=problem.store,
        stations=tuple(station.station for station in problem.stations),
        options=tuple(options),
        not_permitted=tuple(
            station.station
            for station in then.problem.stations
            if station.station in wanted
            if wanted[station.station] not in (then.permits(station.station) or station.choices)
        ),
    )


def _planned(case: Case, effort: int, terms: Terms) -> list[int]:
    return [station.channel_planned for station in plan_store(case, effort, terms).stations]


def after_scan(case: Case, found: Mapping[tuple[str, int], float], visit: ScanVisit) -> Case:
    """Return the case as if one visit had found channels busy: (station, channel) -> share, 0..1.

    Raises:
        KeyError: a station has no evidence on that channel, as it is not installed.
    """
    evidence = {at: _scanned(case.evidence[at], share, visit) for at, share in found.items()}
    problem = case.problem
    busy = {at: known.reckoned for at, known in evidence.items()}
    cost = None
    if problem.cost is not None:
        cost = {**problem.cost, **{at: known.cost for at, known in evidence.items()}}
    return replace(
        case,
        evidence={**case.evidence, **evidence},
        problem=replace(problem, busy={**problem.busy, **busy}, cost=cost),
    )


def _scanned(known: Evidence, share: float, visit: ScanVisit) -> Evidence:
    a, b = known.scanned
    a, b = a + visit.worth(1) * share, b + visit.worth(1) * (1 - share)
    low, high = (float(betaincinv(a, b, point)) for point in (0.05, 0.95))
    return replace(
        known,
        share=a / (a + b),
        low=low,
        high=high,
        cost=expected_cost(a, b),
        a=a,
        b=b,
        worth=known.worth + visit.worth(1),
        readings=known.readings + visit.readings,
        source="measured",
        own=None,
    )


def _on_air(problem: StoreProblem, channels: Sequence[int], effort: int) -> list[int]:
    """Return channels with those off the air on what is best beside the others."""
    pairs = list(zip(problem.stations, channels, strict=True))
    if all(channel != OFF_AIR for _, channel in pairs):
        return list(channels)
    open_to = {
        s.station: (channel,) if channel != OFF_AIR else tuple(c for c in s.choices if c != OFF_AIR)
        for s, channel in pairs
    }
    return _best(problem, open_to, effort)


def _costs(wider: StoreProblem, own: StoreProblem) -> Mapping[tuple[str, int], float] | None:
    return None if wider.cost is None else {**wider.cost, **(own.cost or {})}


def proof_of(case: Case, effort: int, terms: Terms) -> dict[str, Any] | None:
    """Return a proof that no channels of the stations that move cost less; None: there is none.

    The others stay, as in the plan's bound. `docs/check_plan.py` checks it; what it holds beside:
    `stations`, and `channels` by station, in the order of the costs; a cost is in units of 1e-9.
    """
    permitted = {s.station: s.choices for s in case.problem.stations}
    rows = plan_store(case, effort, terms).stations
    planned = {row.station: row.channel_planned for row in rows}
    stations = tuple(
        replace(s, choices=permitted[s.station] if s.channel != on else (on,))
        for s in case.problem.stations
        for on in [planned[s.station]]
    )
    tables = priced(replace(case.problem, stations=stations))
    choice = tuple(tables.choice([planned[s.station] for s in stations]))
    costs = checked(tables.one, tables.two)
    grid = to_grid(costs, None, costs.total(choice))
    made = None if grid.rounded else certificate(grid.network, choice, _NODES)
    if made is None:
        return None
    names = [s.station for s in stations]
    return {"stations": names, "channels": [s.choices for s in stations], **made}


def worth_of(case: Case, before: Mapping[str, int], after: Mapping[str, int]) -> OrderPrice:
    """Price channels by station against others; who is not named stays on its channel of today.

    A station that one of the two leaves off the air counts for what it does to the others. Of
    stores planned together, what is gained is that of the one that the case is seen from.
    """
    problem = with_channels(case.problem, {})
    stations = problem.stations
    then, now = ([some.get(s.station, s.channel) for s in stations] for some in (before, after))
    air = clear_air(problem, now)
    ends = zip(air, clear_air(problem, then), now, then, strict=True)
    gains = [0.0 if OFF_AIR in {a, b} else x - y for x, y, a, b in ends]
    own = [case.owns(s.station) for s in stations]
    weights = [s.weight * mine for s, mine in zip(stations, own, strict=True)]
    weights = weights if any(weights) else [float(mine) for mine in own]
    gained = fsum(w * gain for w, gain in zip(weights, gains, strict=True)) / fsum(weights)
    found = {
        s.station: interval(case.evidence.get((s.station, channel)), value)
        for s, channel, value in zip(stations, now, air, strict=True)
    }
    return OrderPrice(
        round(gained, 6),
        {
            station: (round(value, 6), round(low, 6), round(high, 6))
            for station, (value, low, high) in found.items()
            if value is not None and low is not None and high is not None
            if case.owns(station)
        },
    )


def _best(problem: StoreProblem, choices: Mapping[str, Sequence[int]], effort: int) -> list[int]:
    stations = tuple(replace(s, choices=tuple(choices[s.station])) for s in problem.stations)
    tables = priced(replace(problem, stations=stations))
    found = assign(tables.one, tables.two, ties=tie_costs(stations), effort=effort)
    return [s.choices[a] for s, a in zip(stations, found.choice, strict=True)]


def _option(problem: StoreProblem, name: str, channels: Sequence[int]) -> Option:
    return Option(
        name=name,
        channels=tuple(channels),
        clear_air=tuple(clear_air(problem, channels)),
        cost=priced(problem).total(channels),
        moves=sum(s.channel != c for s, c in zip(problem.stations, channels, strict=True)),
    )
