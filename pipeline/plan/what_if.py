"""What a person's own choice of channels would cost, against the plan."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import fsum
from typing import Any

from pipeline.plan.assign import assign
from pipeline.plan.certificate import certificate
from pipeline.plan.costs import StoreProblem, clear_air, priced, tie_costs
from pipeline.plan.decide import Terms
from pipeline.plan.explain import Case
from pipeline.plan.network import checked, to_grid
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


def what_if(case: Case, wanted: Mapping[str, int], effort: int, terms: Terms) -> WhatIf:
    """Price a wish (station -> channel) in one store, against the plan on these terms.

    A channel the rules do not permit is priced all the same, and named in `not_permitted`.
    Stations must be in the store; the caller checks.
    """
    problem = with_channels(case.problem, wanted)
    now = [station.channel for station in problem.stations]
    ours = [station.channel_planned for station in plan_store(case, effort, terms).stations]
    put_in = [
        wanted.get(s.station, channel) for s, channel in zip(problem.stations, ours, strict=True)
    ]
    granted = {s.station: s.choices for s in case.problem.stations}
    granted |= {station: (channel,) for station, channel in wanted.items()}
    around = _best(problem, granted, effort)
    named = (("today", now), ("plan", ours), ("plan with your choice", put_in))
    options = [_option(problem, name, channels) for name, channels in named]
    options.append(_option(problem, "best around your choice", around))
    return WhatIf(
        store=problem.store,
        stations=tuple(station.station for station in problem.stations),
        options=tuple(options),
        not_permitted=tuple(
            station.station
            for station in case.problem.stations
            if station.station in wanted
            if wanted[station.station] not in (case.permits(station.station) or station.choices)
        ),
    )


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
