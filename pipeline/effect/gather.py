"""Read what is known of a rollout, and say by region and for the chain whether it helps."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from pipeline.database import Database
from pipeline.effect.compare import Burden, ChartLimits, Estimate, chart_limits, compare
from pipeline.effect.verdict import (
    RolloutVerdict,
    Sight,
    Standing,
    VerdictRule,
    decide,
    label_outcome,
    sights,
)
from pipeline.effect.windows import (
    Comparison,
    Figures,
    LeftOut,
    Measure,
    OutcomeDay,
    Turn,
    Upset,
    WashOut,
    WaveDays,
    comparison,
    quiet_changes,
    wave_days,
)
from pipeline.tables.changes import VerdictLimit
from pipeline.tables.run import ThisRun

CHAIN = "*"
TERMS = ("busy", "shared", "next_to", "weak", "load")
"""What stations suffer, as `burdens` gives it."""
_FREE_LEAST = 5  # a spread of fewer stores, less one a stratum, says too little
_HALF = 0.5  # of a region's stores must have an export of a day for it to be a point


@dataclass(frozen=True, slots=True)
class EffectLine:
    """An outcome over the days of a wave, or over all waves judged (`days` None)."""

    outcome: Measure
    days: WaveDays | None
    found: Estimate | None


@dataclass(frozen=True, slots=True)
class RunChart:
    """An outcome of a region's stores by day, the limits of its first points, and the waves."""

    outcome: Measure
    points: tuple[tuple[date, float], ...]
    limits: ChartLimits | None
    waves: tuple[tuple[str, date], ...]


@dataclass(frozen=True, slots=True)
class RolloutProof:
    """Whether a rollout helps: of a region, or of the chain."""

    verdict: RolloutVerdict
    rule: VerdictRule
    stated_on: date | None  # None: the rule was not kept before a first wave
    reworded: bool  # the rules file says otherwise by now
    lines: tuple[EffectLine, ...]
    left_out: tuple[LeftOut, ...]
    chart: RunChart | None
    sights: tuple[Sight, ...]
    by_chance: bool
    days: int  # compared before and after a wave


class Rollout:
    """What is known of the rollout over the chain.

    Attributes:
        limit: those of the verdict as they were kept with the first wave, the others as they are.
    """

    def __init__(
        self, database: Database, waves: Sequence[str], limits: Mapping[str, float]
    ) -> None:
        (run,) = database.records(ThisRun, "run", "this_run")
        self.as_of = run.as_of
        kept = {one.name: one.value for one in database.every(VerdictLimit)}
        self.stated_on = max((one.stated_on for one in database.every(VerdictLimit)), default=None)
        self.reworded = any(limits.get(name) != value for name, value in kept.items())
        self.limit = {**limits, **kept}
        self.days = int(self.limit["comparison_days"])
        self.region_of: Mapping[str, str] = database.mapping("effect", "regions")
        self.turns = database.records(Turn, "effect", "turns")
        self.outcomes = _outcomes(database, "label_days")
        self.burdens = _burdens(database)
        upsets: list[Upset] = []
        if self.turns:
            self.outcomes += _outcomes(database, "air_days")
            rows = database.frame("effect", "upsets").iter_rows(named=True)
            upsets = [Upset(**{**row, "reason": WashOut(row["reason"])}) for row in rows]
        self.figures = Figures(self.outcomes, upsets)
        self._planned = database.frame("effect", "planned_waves").rows(named=True)
        self._order = {wave: place for place, wave in enumerate(waves)}

    def next_done_on(self, region: str) -> date | None:
        """Return when the days after the wave laid out next are over."""
        last: dict[tuple[str, str], date] = {}
        for row in self._planned_of(region):
            key, night = (row["region"], row["wave"]), row["last_night"]
            if night is not None:
                last[key] = max(night, last.get(key, night))
        nights = [night for night in last.values() if night >= self.as_of]
        return min(nights) + timedelta(days=self.days) if nights else None

    def _planned_of(self, region: str) -> list[dict[str, Any]]:
        return [row for row in self._planned if region in {CHAIN, row["region"]}]

    def strata(self, region: str) -> list[int]:
        """Return how many stores each stratum of a region's rollout has, or of the chain's."""
        drawn = [t for t in self.of(region) if t.stratum is not None]
        return list(Counter((turn.region, turn.stratum) for turn in drawn).values())

    def of(self, region: str) -> list[Turn]:
        """Return the stores of a region's rollout, or of the chain's."""
        return [turn for turn in self.turns if region in {CHAIN, turn.region}]

    def chart(self, region: str, waves: Iterable[WaveDays]) -> RunChart | None:
        """Return how labels fared by day: updates acknowledged, else labels heard."""
        marks = tuple((days.wave, days.begun_on) for days in waves)
        for outcome in (Measure.ACKNOWLEDGED, Measure.HEARD):
            own = [
                one
                for one in self.outcomes
                if one.outcome == outcome and self.region_of.get(one.store) == region
            ]
            if points := tuple(_points(own)):
                limits = chart_limits([value for _, value in points])
                return RunChart(outcome, points, limits, marks)
        return None

    def sights(self, region: str) -> tuple[Sight, ...]:
        """Return what the waves laid out would see, of the outcomes that have a past."""
        stores: Counter[tuple[str, str, str]] = Counter()
        for row in self._planned_of(region):
            if row["wave"] in self._order and row["stratum"] is not None:
                stores[row["wave"], row["region"], row["stratum"]] += row["stores"]
        strata = sorted({(place, stratum) for _, place, stratum in stores})
        names = sorted({wave for wave, *_ in stores}, key=self._order.__getitem__)
        waves = [(wave, [stores[wave, *one] for one in strata]) for wave in names]
        found: list[Sight] = []
        for outcome in (Measure.CLEAR_AIR, Measure.ACKNOWLEDGED):
            spread = self._spread(region, outcome)
            if spread is not None and waves:
                found += sights(outcome, spread, waves, self.limit["effect_to_see"])
        return tuple(found)

    def _spread(self, region: str, outcome: Measure) -> float | None:
        """Return the standard deviation of changes in quiet days, within regions and strata."""
        squares, free = 0.0, 0
        for _, own in groupby(self.of(region), key=lambda turn: (turn.region, turn.stratum)):
            changes = quiet_changes(list(own), outcome, self.figures, self.days, self.as_of)
            if changes:
                mean = sum(changes.values()) / len(changes)
                squares += sum((change - mean) ** 2 for change in changes.values())
                free += len(changes) - 1
        return (squares / free) ** 0.5 if squares > 0 and free >= _FREE_LEAST else None


def proofs(rollout: Rollout, regions: Sequence[str]) -> Mapping[str, RolloutProof]:
    """Return the proof of each region and, under `CHAIN`, of the chain."""
    waves: dict[str, list[WaveDays]] = {}
    compared: dict[str, list[Comparison]] = defaultdict(list)
    for region in sorted({turn.region for turn in rollout.turns}):
        own = rollout.of(region)
        waves[region] = wave_days(own, rollout.days)
        for days in waves[region]:
            if days.after[1] <= rollout.as_of:
                compared[region] += [comparison(days, o, own, rollout.figures) for o in Measure]
    waves[CHAIN] = sorted((d for own in waves.values() for d in own), key=lambda d: d.begun_on)
    compared[CHAIN] = [one for own in compared.values() for one in own]
    return {
        region: _proof(rollout, region, waves.get(region, []), compared.get(region, []))
        for region in (*regions, CHAIN)
    }


def _proof(
    rollout: Rollout, region: str, waves: Sequence[WaveDays], compared: Sequence[Comparison]
) -> RolloutProof:
    found = {
        outcome: compare([b for one in compared if one.outcome is outcome for b in one.blocks])
        for outcome in Measure
    }
    lines = [EffectLine(outcome, None, one) for outcome, one in found.items()]
    if region != CHAIN:
        lines += [EffectLine(one.outcome, one.days, compare(one.blocks)) for one in compared]
    shown = {Measure.CLEAR_AIR, label_outcome(found)}
    turned = [turn for turn in rollout.of(region) if turn.begun_on is not None]
    by_chance = all(turn.drawn for turn in turned)
    rule = VerdictRule.of(rollout.limit)
    standing = Standing(
        rollout.as_of, waves, rollout.next_done_on(region), by_chance, rollout.strata(region)
    )
    return RolloutProof(
        verdict=decide(found, rule, standing),
        rule=rule,
        stated_on=rollout.stated_on,
        reworded=rollout.reworded,
        lines=tuple(line for line in lines if line.outcome in shown),
        left_out=tuple(dict.fromkeys(left for one in compared for left in one.left_out)),
        chart=rollout.chart(region, waves),
        sights=() if turned else rollout.sights(region),
        by_chance=by_chance,
        days=rollout.days,
    )


def _points(outcomes: Sequence[OutcomeDay]) -> Iterator[tuple[date, float]]:
    """Yield the mean of each day on which at least half the stores have figures, by worth."""
    stores = len({one.store for one in outcomes})
    ordered = sorted(outcomes, key=lambda one: (one.day, one.store))
    for day, group in groupby(ordered, key=lambda one: one.day):
        own = list(group)
        worth = sum(one.worth for one in own)
        if len(own) >= _HALF * stores:
            yield day, sum(one.value * one.worth for one in own) / worth


def _outcomes(database: Database, name: str) -> list[OutcomeDay]:
    rows = database.frame("effect", name).iter_rows(named=True)
    return [OutcomeDay(**{**row, "outcome": Measure(row["outcome"])}) for row in rows]


def _burdens(database: Database) -> list[Burden]:
    rows = database.frame("effect", "burdens").iter_rows(named=True)
    return [Burden(**{**row, "suffers": tuple(row["suffers"])}) for row in rows]
