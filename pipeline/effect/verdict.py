"""The verdict on a rollout: roll on, not yet, or stop, by a rule stated before the first wave."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from pipeline.effect.compare import Estimate
from pipeline.effect.power import stores_needed
from pipeline.effect.windows import Measure, WaveDays


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
