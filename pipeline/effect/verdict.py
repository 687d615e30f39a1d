"""The verdict on a rollout, by a rule stated before the first wave; and what waves can see."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import accumulate, pairwise
from math import comb, inf, prod, sqrt

from scipy.special import stdtrit

from pipeline.effect.compare import Estimate
from pipeline.effect.windows import Measure, WaveDays, third

_POWER = 0.8
_SURE = 0.975  # either end of a 95 % interval
_DRAWS_LEAST = 21  # with fewer ways to draw no interval of 95 % has an end


def least_effect(spread: float, blocks: Sequence[tuple[int, int]]) -> float:
    """Return the least effect, as a difference of shares, that is found with a chance of 80 %.

    Found: the 95 % interval of the difference of means within blocks lies above nothing (Bloom
    1995, with Student's t). Without end where so few stores can show no effect at all.

    Args:
        spread: standard deviation of stores' changes, a difference of shares.
        blocks: by stratum, stores of the wave and stores whose turn is later.
    """
    told = [(turned, later) for turned, later in blocks if min(turned, later) > 0]
    ways = prod(comb(turned + later, turned) for turned, later in told)
    if ways < _DRAWS_LEAST:
        return inf
    free = sum(map(sum, told)) - len(told) - 1
    weight = sum(turned * later / (turned + later) for turned, later in told)
    quantiles = float(stdtrit(free, _SURE) + stdtrit(free, _POWER))
    return quantiles * spread / sqrt(weight)


def stores_needed(spread: float, effect: float, strata: Sequence[int]) -> int | None:
    """Return the fewest stores to change first to see an effect; None: no number can.

    They are spread evenly over strata of so many stores, up to half of all.
    """
    total = sum(strata)
    ends = [0, *accumulate(strata)]
    for stores in range(1, total // 2 + 1):
        taken = [stores * b // total - stores * a // total for a, b in pairwise(ends)]
        blocks = [(n, size - n) for n, size in zip(taken, strata, strict=True)]
        if least_effect(spread, blocks) <= effect:
            return stores
    return None


@dataclass(frozen=True, slots=True)
class Sight:
    """What a wave would see of an outcome: shares; None where it can see nothing."""

    outcome: str
    wave: str
    turned: int
    controls: int
    least: float | None
    pilot: int | None  # stores it takes to see `effect`; None: more than half of all
    effect: float
    within: bool = False  # the last wave: its first third against its last


def sights(
    outcome: str, spread: float, waves: Sequence[tuple[str, Sequence[int]]], effect: float
) -> tuple[Sight, ...]:
    """Return what each wave would see against those after it, and the last one within itself.

    Args:
        outcome: its name.
        spread: standard deviation of stores' changes in days without work.
        waves: names, and numbers of stores by stratum, in order.
        effect: what is to be seen.
    """
    later = [sum(sizes) for sizes in zip(*(sizes for _, sizes in waves), strict=True)]
    pilot = stores_needed(spread, effect, later)
    found = []
    for wave, sizes in waves[:-1]:
        later = [left - own for left, own in zip(later, sizes, strict=True)]
        least = least_effect(spread, list(zip(sizes, later, strict=True)))
        shown = None if least == inf else least
        found.append(Sight(outcome, wave, sum(sizes), sum(later), shown, pilot, effect))
    found.append(_within(outcome, spread, waves[-1], pilot, effect))
    return tuple(found)


def _within(
    outcome: str, spread: float, last: tuple[str, Sequence[int]], pilot: int | None, effect: float
) -> Sight:
    """Return what the last wave would see: the third drawn first against the third drawn last."""
    blocks = []
    for size in last[1]:
        thirds = [third(rank, size) for rank in range(size)]
        blocks.append((thirds.count(0), thirds.count(2)))
    least = least_effect(spread, blocks)
    first, to_come = (sum(side) for side in zip(*blocks, strict=True))
    shown = None if least == inf else least
    return Sight(outcome, last[0], first, to_come, shown, pilot, effect, within=True)


class Word(StrEnum):
    """The verdict in a word."""

    ROLL_ON = "roll_on"
    NOT_YET = "not_yet"
    STOP = "stop"


class Why(StrEnum):
    """What a verdict rests on."""

    HELPED = "helped"
    HARMED = "harmed"
    NOT_WORTH = "not_worth"  # the gain is surely less than the least that pays
    NO_WAVE = "no_wave"
    DAYS_LEFT = "days_left"  # the days after the wave are not over
    NO_AIR = "no_air"  # no scans, or nobody to compare with
    NO_LABELS = "no_labels"
    NOT_DRAWN = "not_drawn"
    WIDE = "wide"  # the interval holds both


@dataclass(frozen=True, slots=True)
class VerdictRule:
    """What decides; shares are differences, 0..1."""

    gain_least: float  # a gain below does not pay
    loss_most: float  # more of it is harm

    @classmethod
    def of(cls, limits: Mapping[str, float]) -> "VerdictRule":
        """Return the rule of some limits."""
        return cls(limits["verdict_gain_least"], limits["verdict_loss_most"])


@dataclass(frozen=True, slots=True)
class RolloutVerdict:
    """A verdict: what it rests on, and of one that is open what is missing and by when."""

    word: Word
    why: Why
    outcome: Measure | None = None
    until: date | None = None
    stores: int | None = None  # changed first, that would settle it


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a rollout stands."""

    as_of: date
    waves: Sequence[WaveDays]  # begun
    next_done_on: date | None  # the last night of the wave laid out next, and the days after it
    drawn: bool  # whether chance decided who went first
    strata: Sequence[int]  # stores of the rollout

    @property
    def ready(self) -> list[WaveDays]:
        """The waves whose days after are over: each is judged once."""
        return [days for days in self.waves if days.after[1] <= self.as_of]


def label_outcome(found: Mapping[Measure, Estimate | None]) -> Measure:
    """Return the outcome that stands for labels: updates acknowledged, where exports have them."""
    return Measure.HEARD if found.get(Measure.ACKNOWLEDGED) is None else Measure.ACKNOWLEDGED


def decide(
    found: Mapping[Measure, Estimate | None], rule: VerdictRule, standing: Standing
) -> RolloutVerdict:
    """Return the verdict on the waves whose days are over.

    Stop: clear air or labels are surely worse, by more than allowed, or both surely gain less than
    pays. Roll on: one surely gains, by as much as pays, and the other surely loses no more than
    allowed. Surely: the whole 95 % interval. Without a draw nothing is proved but harm.
    """
    if not standing.ready:
        return _too_early(standing)
    of = label_outcome(found)
    known = {of: found.get(of), Measure.CLEAR_AIR: found.get(Measure.CLEAR_AIR)}
    told = {outcome: one for outcome, one in known.items() if one is not None}
    for outcome, one in told.items():
        if one.harmed and one.effect <= -rule.loss_most:
            return RolloutVerdict(Word.STOP, Why.HARMED, outcome)
    if len(told) < len(known):
        why = Why.NO_LABELS if Measure.CLEAR_AIR in told else Why.NO_AIR
        return RolloutVerdict(Word.NOT_YET, why, until=standing.next_done_on)
    if not standing.drawn:
        return RolloutVerdict(Word.NOT_YET, Why.NOT_DRAWN)
    return _proved(told, rule, standing)


def _proved(
    told: Mapping[Measure, Estimate], rule: VerdictRule, standing: Standing
) -> RolloutVerdict:
    """Return the verdict where both outcomes are known, neither harmed, and chance decided."""
    if all(one.high < rule.gain_least for one in told.values()):
        return RolloutVerdict(Word.STOP, Why.NOT_WORTH)
    surely = all(one.low > -rule.loss_most for one in told.values())
    for outcome, one in told.items():
        if surely and one.helped and one.effect >= rule.gain_least:
            return RolloutVerdict(Word.ROLL_ON, Why.HELPED, outcome)
    steadiest = min(told.values(), key=lambda one: one.spread)
    more = stores_needed(steadiest.spread, rule.gain_least, standing.strata)
    return RolloutVerdict(Word.NOT_YET, Why.WIDE, until=standing.next_done_on, stores=more)


def _too_early(standing: Standing) -> RolloutVerdict:
    if not standing.waves:
        return RolloutVerdict(Word.NOT_YET, Why.NO_WAVE, until=standing.next_done_on)
    return RolloutVerdict(Word.NOT_YET, Why.DAYS_LEFT, until=standing.waves[0].after[1])
