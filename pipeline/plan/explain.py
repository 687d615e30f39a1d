"""Why a station moves or stays: the facts, with figures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.plan.costs import StoreProblem, hit
from pipeline.reasons import Air, Bond, Neighbour, Reason, RefusedMove, SharedPairs
from pipeline.records import OFF_AIR

Rival = tuple[float, int, bool] | tuple[None, None, bool]
"""What it costs to refuse a station its channel, in units of the plan, what it takes then, and
whether it costs that at most."""

NOTABLE = 0.05  # a neighbour is named from this chance of disturbing
_MOST_NAMED = 3
_CHANCES = (("high", 0.975), ("fair", 0.85), ("low", 0.0))
_WIDTHS = (("high", 0.05), ("fair", 0.15), ("low", 1.0))


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one station's channel.

    `share` is how much of the time outside signals keep it busy, 0..1, `low` and `high` its 5 and
    95 % points, None where it is not known; `cost` is E[-ln(1 - share)], `a` and `b` the Beta it is
    reckoned with; `worth` counts readings as independent ones; `wifi` names the Wi-Fi heard in it;
    `lost` is the share of frames that weak interference spoils at the labels, None if not known.
    `own` are a and b as a scan would find them, where the plan reckons a channel that nobody
    measured to be no better than others.
    """

    share: float | None
    low: float | None
    high: float | None
    cost: float
    a: float
    b: float
    worth: float
    readings: int
    own_traffic: bool
    source: str
    wifi: str | None
    lost: float | None = None
    own: tuple[float, float] | None = None

    @property
    def scanned(self) -> tuple[float, float]:
        """The a and b of the Beta as a scan would find it."""
        return self.own or (self.a, self.b)

    @property
    def reckoned(self) -> float:
        """The share that the plan reckons with: where nothing is known, the portfolio's prior."""
        return self.a / (self.a + self.b) if self.share is None else self.share


@dataclass(frozen=True, slots=True)
class Level:
    """The level at which a neighbour is heard, in dBm, its spread in dB, and where it is from."""

    heard_dbm: float
    spread_db: float
    source: str


def sureness(chance: float | None, width: float | None) -> str:
    """Return 'high', 'fair' or 'low': of a move from its chance of any gain, else from the width.

    `width` is that of the interval of clear air, 0..1; None where it is not known.
    """
    if chance is not None:
        return next(word for word, least in _CHANCES if chance >= least)
    if width is None:
        return "low"
    return next(word for word, most in _WIDTHS if width <= most)


@dataclass(frozen=True, slots=True)
class Case:
    """A store's problem with what is known behind its figures, and what binds its stations.

    `permitted` are the store's channels, of which a station that is bound has only one to choose.
    Of stores planned together `homes` has the store and key of each station, and `permitted_in`
    the channels of each store; both are empty for one alone.
    """

    problem: StoreProblem
    evidence: Mapping[tuple[str, int], Evidence]
    levels: Mapping[tuple[str, str], Level]
    permitted: tuple[int, ...] = ()
    bonds: Mapping[str, Bond] = field(default_factory=dict)
    refused: Mapping[str, RefusedMove] = field(default_factory=dict)
    first: frozenset[str] = frozenset()  # whose moves come before others
    homes: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    permitted_in: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    of: str | None = None  # the store whose stations are called by their keys alone

    def owns(self, station: str) -> bool:
        """Tell whether a station is of the store that the case is seen from."""
        return self.of is None or self.homes[station][0] == self.of

    def permits(self, station: str) -> tuple[int, ...]:
        """Return the channels of a station's store."""
        return self.permitted_in[self.homes[station][0]] if self.homes else self.permitted

    def seen_from(self, store: str) -> "Case":
        """Return the case with the stations of one of its stores called by their own keys."""
        own = {name: key for name, (home, key) in self.homes.items() if home == store}

        def said(name: str) -> str:
            return own.get(name, name)

        if not self.homes:
            return self
        problem = self.problem
        on = {"busy": problem.busy, "cost": problem.cost or {}, "lost": problem.lost}
        figures = {k: {(said(s), c): v for (s, c), v in rows.items()} for k, rows in on.items()}
        return replace(
            self,
            problem=replace(
                problem,
                stations=tuple(replace(s, station=said(s.station)) for s in problem.stations),
                heard=tuple(
                    replace(h, station=said(h.station), neighbour=said(h.neighbour))
                    for h in problem.heard
                ),
                busy=figures["busy"],
                cost=figures["cost"] if problem.cost is not None else None,
                lost=figures["lost"],
            ),
            evidence={(said(s), channel): row for (s, channel), row in self.evidence.items()},
            levels={(said(s), said(n)): level for (s, n), level in self.levels.items()},
            bonds={said(s): bond for s, bond in self.bonds.items()},
            refused={said(s): refused for s, refused in self.refused.items()},
            first=frozenset(map(said, self.first)),
            homes={said(s): home for s, home in self.homes.items()},
            of=store,
        )

    @property
    def free(self) -> StoreProblem:
        """The problem as if nothing were bound or refused: what else each station might take."""
        stations = tuple(
            replace(s, choices=tuple(sorted({*self.permits(s.station), *s.choices})))
            if s.station in self.bonds or s.station in self.refused
            else s
            for s in self.problem.stations
        )
        return replace(self.problem, stations=stations)

    def settled(self, station: str) -> bool:
        """Tell whether a station was changed lately, and nothing about it must not go on."""
        bond = self.bonds.get(station)
        return bond is not None and bond.why == "settled" and station not in self.first

    def holding(self, held: frozenset[str]) -> "Case":
        """Return the case with those changed lately held where they are, the others free."""
        stations = tuple(
            replace(s, choices=(s.channel,)) if s.station in held else s
            for s in self.problem.stations
        )
        bonds = {
            station: bond
            for station, bond in self.bonds.items()
            if bond.why != "settled" or station in held
        }
        return replace(self, problem=replace(self.problem, stations=stations), bonds=bonds)


def reason_of(
    case: Case, at: int, ends: tuple[Sequence[int], Sequence[int]], rival: Rival, sure: str
) -> Reason:
    """Return why station `at` leaves its channel of today, or why it is left alone.

    `ends` are the channels by station before and after the plan; `rival` is what takes the place of
    its channel in the plan solved anew without it.
    """
    before, after = ends
    station, old = case.problem.stations[at], before[at]
    first = old == OFF_AIR
    today, planned = None if first else _air(case, at, before), _air(case, at, after)
    moves = old != after[at]
    staying = _air(case, at, [*after[:at], old, *after[at + 1 :]]) if moves and today else None
    same = staying is None or today is None or staying.neighbours == today.neighbours
    return Reason(
        today=today,
        planned=planned,
        staying=None if same else staying,
        moves=moves,
        permitted=first or old in (case.permits(station.station) or station.choices),
        bond=case.bonds.get(station.station),
        rival=rival[1],
        worse=None if rival[0] is None else round(rival[0], 6),
        sureness=sure,
        at_most=rival[2],
    )


def _air(case: Case, at: int, channels: Sequence[int]) -> Air:
    """Return a station's channel as it finds it: noise, and its loudest own neighbours."""
    on = {s.station: c for s, c in zip(case.problem.stations, channels, strict=True)}
    here = case.problem.stations[at].station
    known = case.evidence.get((here, on[here]))
    loud = sorted(
        (-case.levels[here, heard.neighbour].heard_dbm, heard.neighbour)
        for heard in case.problem.heard
        if heard.station == here and hit(heard, on[here], on[heard.neighbour]) >= NOTABLE
    )
    named = tuple(Neighbour(name, on[name], round(-level)) for level, name in loud[:_MOST_NAMED])
    return Air(
        channel=on[here],
        noise=None if known is None else known.share,
        source="absent" if known is None else known.source,
        wifi=None if known is None else known.wifi,
        neighbours=named,
        more=len(loud) - len(named),
        lost=None if known is None else known.lost,
    )


def crowding(
    problem: StoreProblem, ends: tuple[Sequence[int], Sequence[int]], earshot: float
) -> dict[int, SharedPairs]:
    """Return how many pairs in earshot share a channel, for the stations that come to share one.

    Empty unless there are more after the plan than before. `ends` are the channels by station;
    `earshot` is the chance of being heard, either way, from which two are in earshot, 0..1.
    """
    index = {station.station: i for i, station in enumerate(problem.stations)}
    pairs = {
        (min(i, j), max(i, j))
        for heard in problem.heard
        if heard.hit[0] >= earshot
        for i, j in [(index[heard.station], index[heard.neighbour])]
    }
    before, after = ({(i, j) for i, j in pairs if on[i] == on[j] != OFF_AIR} for on in ends)
    if len(after) <= len(before):
        return {}
    crowd = SharedPairs(len(before), len(after))
    return {i: crowd for pair in sorted(after - before) for i in pair if ends[0][i] != ends[1][i]}
