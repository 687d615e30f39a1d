"""Why a station moves or stays: the facts as figures, and the sentence in a language.

The plan keeps the facts as JSON; a report asks for the sentence in the store's language.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date
from functools import lru_cache
from math import floor
from typing import Any

from pipeline.phrases import Style, fill, style
from pipeline.wording import DEFAULT_LANGUAGE, Wording, texts, wording

_WORTH_SAYING = 0.05  # a share of time that outside noise is named from
_HARDLY = 0.005  # one that prints as 0 %
_NOTHING = 0.0005  # one that prints as 0.0 %


@dataclass(frozen=True, slots=True)
class Neighbour:
    """An own station heard on the same channel or beside it."""

    name: str
    channel: int
    heard_dbm: int


@dataclass(frozen=True, slots=True)
class Air:
    """A channel as one station hears it: outside noise (0..1, None: no evidence) and neighbours.

    `lost` is the share of frames that weak interference spoils at the labels, None if not known.
    """

    channel: int
    noise: float | None
    source: str
    wifi: str | None
    neighbours: tuple[Neighbour, ...]
    more: int  # neighbours left unnamed
    lost: float | None = None


@dataclass(frozen=True, slots=True)
class Together:
    """The other stations of a group of moves that need one another, and what the group gains.

    `gain` is a share of an average station's clear air, `chance` that it is any gain, 0..1; None
    where all must move.
    """

    others: tuple[str, ...]
    gain: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class SharedPairs:
    """Pairs in earshot on one channel, where the plan makes them more."""

    before: int
    after: int


@dataclass(frozen=True, slots=True)
class Bond:
    """What binds a station to its channel: 'agreed', 'exception', 'held', 'put_back' or 'settled'.

    `by` is a person, or the rule that holds it, whose sentence is `detail`, made from `facts`.
    `gain` and `chance` are those of an agreed move that stands alone, as if it were still free.
    """

    why: str
    by: str | None
    since: date | None
    detail: str | None = None
    facts: str | None = None
    gain: float | None = None
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class RefusedMove:
    """A channel refused for a station, not put forward again; `until` None: for now.

    `cost` is what the refusal costs, as a share of an average station's clear air, 0 or more;
    `at_least`: that or more.
    """

    channel: int
    by: str | None
    on: date
    until: date | None
    note: str | None = None
    cost: float | None = None
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class Reason:
    """The facts a sentence is made from.

    `today` and `planned` are the air now and as planned, equal for a station that stays; one that
    is set for the first time has no `today`. `staying` is the air on today's channel once the
    others have moved, if that differs. `rival` is its channel in the plan solved anew without the
    planned one, and `worse` what that costs more, as a share of an average station's clear air;
    `at_most`: that or less.
    """

    today: Air | None
    planned: Air
    staying: Air | None
    moves: bool
    permitted: bool
    rival: int | None
    worse: float | None
    sureness: str
    parked: bool = False
    together: Together | None = None
    crowd: SharedPairs | None = None
    bond: Bond | None = None
    refused: RefusedMove | None = None
    at_most: bool = False


def to_json(reason: Reason) -> str:
    """Return the facts as JSON, keys in a fixed order."""
    return json.dumps(reason, default=_fields, ensure_ascii=False, separators=(",", ":"))


def _fields(record: Any) -> object:  # noqa: ANN401 - a record of this module, or a day
    if isinstance(record, date):
        return record.isoformat()
    return {each.name: getattr(record, each.name) for each in fields(record)}


@lru_cache(maxsize=256)  # a station, its move and its change have one reason
def from_json(text: str) -> Reason:
    """Return the facts that `to_json` wrote."""
    facts = json.loads(text)
    for key in ("today", "planned", "staying"):
        facts[key] = _air(facts[key])
    if together := facts.get("together"):
        others = tuple(together["others"])
        facts["together"] = Together(others, together["gain"], together["chance"])
    if crowd := facts.get("crowd"):
        facts["crowd"] = SharedPairs(**crowd)
    if bond := facts.get("bond"):
        facts["bond"] = Bond(**{**bond, "since": _day(bond["since"])})
    if refused := facts.get("refused"):
        days = {key: _day(refused[key]) for key in ("on", "until")}
        facts["refused"] = RefusedMove(**{**refused, **days})
    # Facts are kept for ever: leave out what earlier versions said besides.
    return Reason(**{one.name: facts[one.name] for one in fields(Reason) if one.name in facts})


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _air(facts: Mapping[str, object] | None) -> Air | None:
    if facts is None:
        return None
    named = facts["neighbours"]
    rows: Sequence[Mapping[str, object]] = named if isinstance(named, list) else ()
    return Air(**{**facts, "neighbours": tuple(Neighbour(**row) for row in rows)})  # type: ignore[arg-type]  # as to_json wrote them


def sentence(reason: Reason, language: str = DEFAULT_LANGUAGE, country: str | None = None) -> str:
    """Return the reason as a sentence, in English if the language is not shipped."""
    words = _Words(texts(language), style(language, country))
    parts = []
    if reason.today is None:
        parts.append(words("move_reason.first"))
    elif not reason.permitted:
        parts.append(words("move_reason.not_permitted", channel=reason.today.channel))
    if reason.moves and reason.today is not None:
        parts.append(_on("move_reason.today", reason.today, words))
        if reason.staying is not None:
            parts.append(words("move_reason.staying", company=_company(reason.staying, words)))
    parts.append(_on("move_reason.planned", reason.planned, words))
    parts += _people(reason, words)
    if reason.together is not None:
        parts.append(_group(reason.together, words))
    if reason.crowd is not None:
        parts.append(words("move_reason.crowd", **asdict(reason.crowd)))
    parts += _refused(reason, words)
    parts.append(words(f"move_reason.sureness_{reason.sureness}"))
    text = words("move_reason.between").join(parts)
    return words("move_reason.parked", reason=text) if reason.parked else text


def brief(reason: Reason, language: str = DEFAULT_LANGUAGE, country: str | None = None) -> str:
    """Return in a sentence or two what is wrong with today's channel, and what the new one is like.

    For people who decide; `sentence` has the evidence.
    """
    words = _Words(texts(language), style(language, country))
    parts = [words("brief.parked")] if reason.parked else []
    lead = "brief.clearer" if reason.together is None else "brief.room"
    if reason.today is None:
        parts += [*_approved(reason, words), words("brief.first")]
    else:
        parts += _troubles(reason, reason.today, words) or [
            words(lead, channel=reason.today.channel)
        ]
    parts.append(_quality(reason.planned, words))
    if reason.together is not None:
        parts.append(words("brief.together", others=list(reason.together.others)))
    return " ".join(parts)


@dataclass(frozen=True, slots=True)
class Unplanned:
    """Why a store has no plan, the station that shows it, and how many more there are."""

    why: str
    subject: str = ""
    others: int = 0


def why_unplanned(told: str, words: Wording | None = None) -> str:
    """Return in a language, or as English, why a store has no plan: facts, or a sentence."""
    if not told.startswith("{"):
        return told  # as an earlier version wrote it
    facts = json.loads(told)
    chosen = words or wording(None)
    how = style(chosen.language, chosen.country)
    return fill(chosen.texts[f"unplanned.{facts['why']}"], facts, how)


@dataclass(frozen=True, slots=True)
class _Words:
    """The texts of a language and how it writes numbers and lists."""

    texts: Mapping[str, str]
    style: Style

    def __call__(self, key: str, **values: object) -> str:
        return fill(self.texts[key], values, self.style)


def _approved(reason: Reason, words: _Words) -> list[str]:
    """Return who approved the move, where somebody did."""
    if reason.bond is None or reason.bond.why != "agreed":
        return []
    return [words("brief.agreed", by=reason.bond.by, since=reason.bond.since)]


def _troubles(reason: Reason, today: Air, words: _Words) -> list[str]:
    """Return what is wrong with the channel of today; what leaks in only where nothing else is."""
    same = [one.name for one in today.neighbours if one.channel == today.channel]
    parts = _approved(reason, words)
    if not reason.permitted:
        parts.append(words("brief.not_permitted", channel=today.channel))
    if same:
        parts.append(words("brief.shares", channel=today.channel, names=same))
    if today.noise is not None and today.noise >= _WORTH_SAYING:
        parts.append(words("brief.busy", channel=today.channel, share=today.noise, wifi=today.wifi))
    if not parts and today.neighbours:
        parts.append(words("brief.beside", on=today.channel, **asdict(today.neighbours[0])))
    return parts


def _quality(air: Air, words: _Words) -> str:
    """Return what a channel is like: how busy, and beside which own station."""
    if air.noise is None:
        return words("brief.unmeasured", channel=air.channel)
    key = "brief.quiet" if air.noise < _HARDLY else "brief.noise"
    noise = words(key, channel=air.channel, share=air.noise)
    if not air.neighbours:
        return words("brief.alone", noise=noise)
    return words("brief.near", noise=noise, **asdict(air.neighbours[0]))


def _on(key: str, air: Air, words: _Words) -> str:
    if air.noise is None:
        noise = words("move_reason.noise_none")
    else:
        how = words(f"move_reason.source_{air.source}")
        if air.wifi:
            how = words("move_reason.with_wifi", how=how, wifi=air.wifi)
        noise = words("move_reason.noise", share=air.noise, how=how)
    if air.lost is not None and round(air.lost, 2):
        noise = words("move_reason.lost", noise=noise, lost=air.lost)
    shown = words("move_reason.air", noise=noise, company=_company(air, words))
    return words(key, channel=air.channel, air=shown)


def _people(reason: Reason, words: _Words) -> Iterator[str]:
    """Yield what people or the rules have decided of the station, else whether it stays."""
    if reason.bond is not None:
        yield words(f"move_reason.bond_{reason.bond.why}", **_said(reason.bond))
        if reason.bond.gain is not None:
            gain, chance = reason.bond.gain, rounded_down(reason.bond.chance)
            yield words("move_reason.alone_gain", gain=gain, chance=chance)
    elif not reason.moves:
        yield words("move_reason.stays")
    if reason.refused is not None:
        yield words("move_reason.refused", **_said(reason.refused))


def _said(record: Bond | RefusedMove) -> Mapping[str, object]:
    said = {each.name: getattr(record, each.name) for each in fields(record)}
    detail = said.get("detail")
    return said if detail is None else {**said, "detail": detail.rstrip(".")}


def _group(together: Together, words: _Words) -> str:
    """Return what a group gains and how surely."""
    chance, others = rounded_down(together.chance), list(together.others)
    return words("move_reason.together", others=others, gain=together.gain, chance=chance)


def rounded_down(chance: float | None) -> float | None:
    """Return a chance in whole per cent, never all."""
    return None if chance is None else min(0.99, floor(100 * chance) / 100)


def _refused(reason: Reason, words: _Words) -> list[str]:
    """Return what it costs to refuse the channel, if another could be told."""
    if reason.rival is None or reason.worse is None:
        return []
    ends = {"on": reason.planned.channel, "channel": reason.rival}
    if reason.worse < 0 and reason.bond is not None:
        return [words("move_reason.better", **ends, worse=-reason.worse)]
    if reason.worse < _NOTHING:
        return [words("move_reason.rival_alike", **ends)]
    return [words("move_reason.rival", **ends, worse=reason.worse, at_most=reason.at_most)]


def _company(air: Air, words: _Words) -> str:
    """Return the neighbours heard, the first ones by name."""
    if not air.neighbours:
        return words("move_reason.alone")
    named = words.style.comma.join(
        words("move_reason.neighbour", **asdict(neighbour)) for neighbour in air.neighbours
    )
    more = fill(words.style.more, {"count": air.more}, words.style) if air.more else ""
    return words("move_reason.heard", named=named + more)
