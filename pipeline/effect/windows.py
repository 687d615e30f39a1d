"""Which stores and days are compared, wave by wave, and what is left out, each with its reason."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from pipeline.effect.compare import Peers

_DAY = timedelta(days=1)
_NIGHTS = timedelta(days=7)  # about as long as a wave takes
_MIDDLE, _LAST = 1, 2  # thirds of a wave, counted from 0


class Measure(StrEnum):
    """What is compared: shares, 0..1, more is better."""

    CLEAR_AIR = "clear_air"  # as scans of the day found it
    ACKNOWLEDGED = "acknowledged"  # of the updates sent to labels
    HEARD = "heard"  # labels that are not silent


class WashOut(StrEnum):
    """Why a store is left out of a comparison."""

    NOT_CHANGED = "not_changed"  # its wave is over and its changes were not all made
    LATE = "late"  # changed once the next wave had begun
    OUT_OF_TURN = "out_of_turn"  # its night in the wave is not where the draw put it
    NOT_DRAWN = "not_drawn"  # its wave was named, so chance had no say
    REMAPPED = "remapped"  # many labels went to other stations, on no night of its own
    REPLACED = "replaced"  # stations came, went or were replaced
    OTHERWISE = "otherwise"  # a station was changed that no wave called for
    FROZEN = "frozen"  # every day with figures lies in a freeze
    NO_BEFORE = "no_before"  # no figures of the days before
    NO_AFTER = "no_after"


@dataclass(frozen=True, slots=True)
class Turn:
    """When a store had its turn; `stratum` None: chance had no say in its wave."""

    region: str
    store: str
    stratum: str | None
    wave: str | None  # that it was put in for good
    begun_on: date | None  # the days of its first and last change; None: not yet
    done_on: date | None
    to_make: int = 0  # changes of its plan
    drawn: bool = True  # by chance, and not by benefit
    ticket: str = ""  # in ascending order of these the stores of a stratum go


@dataclass(frozen=True, slots=True)
class OutcomeDay:
    """An outcome of a store on a day of exports or scans."""

    store: str
    day: date
    outcome: Measure
    value: float
    worth: float = 1.0  # updates, labels or readings behind it


@dataclass(frozen=True, slots=True)
class Upset:
    """What changed a store for another reason, on a day from `first` to `last`."""

    store: str
    reason: WashOut
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A store that a comparison leaves out; `outcome` None: of all outcomes."""

    region: str
    store: str
    wave: str
    outcome: Measure | None
    reason: WashOut


@dataclass(frozen=True, slots=True)
class WaveDays:
    """The days of a wave: its first and last night, and those compared before and after.

    Where nobody's turn is later, it is compared within itself: the third that was drawn first, done
    by `done_on`, with the third drawn last, not begun `until` then.
    """

    region: str
    wave: str
    begun_on: date
    done_on: date
    days: int
    until: date | None = None

    @property
    def before(self) -> tuple[date, date]:
        """The days before it, both ends included."""
        return self.begun_on - self.days * _DAY, self.begun_on - _DAY

    @property
    def after(self) -> tuple[date, date]:
        """As many days after it, or fewer where the wave's last third had its turn sooner."""
        last = self.done_on + self.days * _DAY
        return self.done_on + _DAY, min(last, self.until or last)


def wave_days(turns: Sequence[Turn], days: int) -> list[WaveDays]:
    """Return the days of every wave of a region that has begun, in order.

    A wave ends with its last change before the next one begins. One that nobody follows ends with
    its first third, if days lie between that and its last.
    """
    begun: dict[str, date] = {}
    for turn in turns:
        if turn.wave is not None and turn.begun_on is not None:
            begun[turn.wave] = min(turn.begun_on, begun.get(turn.wave, turn.begun_on))
    found = []
    for wave, first in sorted(begun.items(), key=lambda each: (each[1], each[0])):
        nexts = min((day for day in begun.values() if day > first), default=date.max)
        own = [t.done_on for t in turns if t.wave == wave and t.done_on and t.done_on < nexts]
        region = next(turn.region for turn in turns if turn.wave == wave)
        whole = WaveDays(region, wave, first, max(own, default=first), days)
        found.append(whole if _followed(whole, turns) else _within(whole, turns))
    return found


def _followed(days: WaveDays, turns: Sequence[Turn]) -> bool:
    """Say whether some store that was drawn has its turn after the days of a wave."""
    return any(
        turn.wave != days.wave
        and turn.stratum is not None
        and (turn.begun_on is None or turn.begun_on > days.after[1])
        for turn in turns
    )


def _within(days: WaveDays, turns: Sequence[Turn]) -> WaveDays:
    """Return the days to compare a wave's first third with its last; as they are where none are."""
    own = [turn for turn in turns if turn.wave == days.wave and turn.stratum is not None]
    thirds = list(_thirds(own).values())
    first, last = thirds.count(0), thirds.count(_LAST)
    if not first or not last:
        return days
    done_on = sorted(turn.done_on or date.max for turn in own)[first - 1]
    until = sorted(turn.begun_on or date.max for turn in own)[-last] - _DAY
    return days if until <= done_on else replace(days, done_on=done_on, until=until)


def _thirds(own: Sequence[Turn]) -> dict[str, int]:
    """Return the third of the draw, 0 to 2, of each store of a wave, alike in every stratum."""
    strata: dict[str | None, list[Turn]] = defaultdict(list)
    for turn in own:
        strata[turn.stratum].append(turn)
    found = {}
    for alike in strata.values():
        for rank, turn in enumerate(sorted(alike, key=lambda turn: (turn.ticket, turn.store))):
            found[turn.store] = third(rank, len(alike))
    return found


def third(rank: int, stores: int) -> int:
    """Return the third, 0 to 2, of a place among the stores of a stratum, counted from 0."""
    return 3 * (2 * rank + 1) // (2 * stores)


class Figures:
    """Outcomes of stores by day, and what upset them."""

    def __init__(self, outcomes: Iterable[OutcomeDay], upsets: Iterable[Upset]) -> None:
        self._of: dict[tuple[Measure, str], list[OutcomeDay]] = defaultdict(list)
        for one in outcomes:
            self._of[one.outcome, one.store].append(one)
        self._upset: dict[str, list[Upset]] = defaultdict(list)
        for upset in upsets:
            self._upset[upset.store].append(upset)

    def mean(self, outcome: Measure, store: str, span: tuple[date, date]) -> float | WashOut | None:
        """Return the mean over the days of a span: every day counts alike, freezes not at all."""
        days = [d for d in self._of[outcome, store] if span[0] <= d.day <= span[1]]
        freezes = [u for u in self._upset[store] if u.reason is WashOut.FROZEN]
        told = [d.value for d in days if not any(f.first <= d.day <= f.last for f in freezes)]
        if told:
            return sum(told) / len(told)
        return WashOut.FROZEN if days else None

    def upset(self, turn: Turn, span: tuple[date, date]) -> WashOut | None:
        """Return what else happened to a store within a span, its own nights apart."""
        for one in self._upset[turn.store]:
            own = turn.begun_on is not None and one.first <= (turn.done_on or turn.begun_on)
            own = own and turn.begun_on is not None and one.last >= turn.begun_on
            spared = own and one.reason in {WashOut.REMAPPED, WashOut.OTHERWISE}
            within = one.first <= span[1] and one.last >= span[0]
            if within and not spared and one.reason is not WashOut.FROZEN:
                return one.reason
        return None

    def days(self, outcome: Measure, store: str) -> list[date]:
        """Return the days on which an outcome of a store is known, in order."""
        return sorted({one.day for one in self._of[outcome, store]})

    def quiet_change(
        self, outcome: Measure, turn: Turn, spans: tuple[tuple[date, date], tuple[date, date]]
    ) -> float | None:
        """Return by how much an outcome changed between spans in which nothing else happened."""
        change = self.change(outcome, turn.store, *spans)
        if isinstance(change, WashOut) or self.upset(turn, (spans[0][0], spans[1][1])):
            return None
        return change

    def change(
        self, outcome: Measure, store: str, before: tuple[date, date], after: tuple[date, date]
    ) -> float | WashOut:
        """Return by how much an outcome changed, or why nobody knows."""
        was, now = (self.mean(outcome, store, span) for span in (before, after))
        if isinstance(was, WashOut) or isinstance(now, WashOut):
            return WashOut.FROZEN
        if was is None or now is None:
            return WashOut.NO_BEFORE if was is None else WashOut.NO_AFTER
        return now - was


@dataclass(frozen=True, slots=True)
class Comparison:
    """A wave's changed stores and those whose turn is later, over the same days."""

    days: WaveDays
    outcome: Measure
    blocks: tuple[Peers, ...]
    left_out: tuple[LeftOut, ...]


def comparison(
    days: WaveDays, outcome: Measure, turns: Sequence[Turn], figures: Figures
) -> Comparison:
    """Return what is compared of a wave of a region, by the strata of the draw."""
    strata: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    left_out = []
    thirds = _thirds([turn for turn in turns if turn.wave == days.wave])
    for turn in turns:
        side = _side(turn, days) if days.until is None else _side_within(turn, days, thirds)
        if side is None:
            continue
        found = side if isinstance(side, WashOut) else _change(turn, days, outcome, figures)
        if isinstance(found, WashOut):
            figured = found in {WashOut.FROZEN, WashOut.NO_BEFORE, WashOut.NO_AFTER}
            of = outcome if figured else None
            left_out.append(LeftOut(turn.region, turn.store, days.wave, of, found))
        else:
            strata[turn.stratum or ""].append((found, side is True))
    blocks = tuple(_block(strata[key]) for key in sorted(strata))
    return Comparison(days, outcome, blocks, tuple(left_out))


def _side(turn: Turn, days: WaveDays) -> bool | WashOut | None:
    """Say whether a store had its turn in the wave or has it later; None: it had it before."""
    if turn.wave == days.wave:
        if turn.done_on is None or turn.to_make:
            return WashOut.NOT_CHANGED
        if turn.done_on > days.done_on:
            return WashOut.LATE
        return True if turn.stratum is not None else WashOut.NOT_DRAWN
    if turn.begun_on is not None and turn.begun_on <= days.after[1]:
        return None
    return False if turn.stratum is not None else WashOut.NOT_DRAWN


def _side_within(turn: Turn, days: WaveDays, thirds: Mapping[str, int]) -> bool | WashOut | None:
    """Say whether a store is of the third of its wave drawn first, or last; None: of neither."""
    place = thirds.get(turn.store, _MIDDLE)
    if place == _MIDDLE:
        return None
    if turn.stratum is None:
        return WashOut.NOT_DRAWN
    if place == _LAST:
        begun = turn.begun_on is not None and turn.begun_on <= days.after[1]
        return WashOut.OUT_OF_TURN if begun else False
    if turn.done_on is None or turn.to_make:
        return WashOut.NOT_CHANGED
    return WashOut.OUT_OF_TURN if turn.done_on > days.done_on else True


def _change(turn: Turn, days: WaveDays, outcome: Measure, figures: Figures) -> float | WashOut:
    upset = figures.upset(turn, (days.before[0], days.after[1]))
    return upset or figures.change(outcome, turn.store, days.before, days.after)


def _block(stores: Sequence[tuple[float, bool]]) -> Peers:
    return Peers(tuple(change for change, _ in stores), tuple(turned for _, turned in stores))


def quiet_changes(
    turns: Sequence[Turn], outcome: Measure, figures: Figures, days: int, as_of: date
) -> Mapping[str, float]:
    """Return how stores changed from one stretch of days to another before any had its turn.

    A week lies between, as the nights of a wave would: stores drift further apart in more time.
    Where no store has figures of both stretches: from one day with figures to the next, the last.
    """
    first = min((t.begun_on for t in turns if t.begun_on), default=as_of + _DAY)
    after = first - days * _DAY, first - _DAY
    before_ends = after[0] - _DAY - _NIGHTS
    found = {}
    for turn in turns:
        spans = (before_ends - (days - 1) * _DAY, before_ends), after
        found[turn.store] = figures.quiet_change(outcome, turn, spans)
    if all(change is None for change in found.values()):
        for turn in turns:
            last = [(day, day) for day in figures.days(outcome, turn.store) if day < first][-2:]
            if len(last) > 1:
                found[turn.store] = figures.quiet_change(outcome, turn, (last[0], last[1]))
    return {store: change for store, change in found.items() if change is not None}
