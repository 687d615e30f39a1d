"""Why a station moves or stays: the facts as figures, and the sentence in a language.

The plan keeps the facts as JSON; a report asks for the sentence in the store's language.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date
from math import floor
from typing import Any

from pipeline.phrases import Style, fill, style
from pipeline.wording import DEFAULT_LANGUAGE, texts


@dataclass(frozen=True, slots=True)
class Neighbour:
    """An own station heard on the same channel or beside it."""

    name: str
    channel: int
    heard_dbm: int


@dataclass(frozen=True, slots=True)
class Air:
    """A channel as one station hears it: outside noise (0..1, None: no evidence) and neighbours."""

    channel: int
    noise: float | None
    source: str
    wifi: str | None
    neighbours: tuple[Neighbour, ...]
    more: int  # neighbours left unnamed


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
    """What binds a station to its channel: 'agreed', 'exception', 'held' or 'settled'.

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

    `cost` is what the refusal costs, as a share of an average station's clear air, 0 or more.
    """

    channel: int
    by: str | None
    on: date
    until: date | None
    note: str | None = None
    cost: float | None = None


@dataclass(frozen=True, slots=True)
class Reason:
    """The facts a sentence is made from.

    `today` and `planned` are the air now and as planned, equal for a station that stays; `staying`
    is the air on today's channel once the others have moved, if that differs. `rival` is the next
    best channel and `worse` its extra cost, as a share of an average station's clear air.
    """

    today: Air
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


def to_json(reason: Reason) -> str:
    """Return the facts as JSON, keys in a fixed order."""
    return json.dumps(reason, default=_fields, ensure_ascii=False, separators=(",", ":"))


def _fields(record: Any) -> object:  # noqa: ANN401 - a record of this module, or a day
    if isinstance(record, date):
        return record.isoformat()
    return {each.name: getattr(record, each.name) for each in fields(record)}


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


def sentence(reason: Reason, language: str = DEFAULT_LANGUAGE) -> str:
    """Return the reason as a sentence, in English if the language is not shipped."""
    words = _Words(texts(language), style(language))
    parts = []
    if not reason.permitted:
        parts.append(words("move_reason.not_permitted", channel=reason.today.channel))
    if reason.moves:
        parts.append(_on("move_reason.today", reason.today, words))
        if reason.staying is not None:
            parts.append(words("move_reason.staying", company=_company(reason.staying, words)))
    parts.append(_on("move_reason.planned", reason.planned, words))
    parts += _people(reason, words)
    if reason.together is not None:
        parts.append(_group(reason.together, words))
    if reason.crowd is not None:
        parts.append(words("move_reason.crowd", **asdict(reason.crowd)))
    if reason.rival is not None and reason.worse is not None:
        better = reason.worse < 0 and reason.bond is not None
        key = "move_reason.better" if better else "move_reason.rival"
        worse = abs(reason.worse) if better else max(0.0, reason.worse)
        parts.append(words(key, channel=reason.rival, worse=worse))
    parts.append(words(f"move_reason.sureness_{reason.sureness}"))
    text = words("move_reason.between").join(parts)
    return words("move_reason.parked", reason=text) if reason.parked else text


@dataclass(frozen=True, slots=True)
class _Words:
    """The texts of a language and how it writes numbers and lists."""

    texts: Mapping[str, str]
    style: Style

    def __call__(self, key: str, **values: object) -> str:
        return fill(self.texts[key], values, self.style)


def _on(key: str, air: Air, words: _Words) -> str:
    if air.noise is None:
        noise = words("move_reason.noise_none")
    else:
        how = words(f"move_reason.source_{air.source}")
        if air.wifi:
            how = words("move_reason.with_wifi", how=how, wifi=air.wifi)
        noise = words("move_reason.noise", share=air.noise, how=how)
    shown = words("move_reason.air", noise=noise, company=_company(air, words))
    return words(key, channel=air.channel, air=shown)


def _people(reason: Reason, words: _Words) -> Iterator[str]:
    """Yield what people or the rules have decided of the station, else whether it stays."""
    if reason.bond is not None:
        yield words(f"move_reason.bond_{reason.bond.why}", **_said(reason.bond))
        if reason.bond.gain is not None:
            gain, chance = reason.bond.gain, _rounded_down(reason.bond.chance)
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
    chance, others = _rounded_down(together.chance), list(together.others)
    return words("move_reason.together", others=others, gain=together.gain, chance=chance)


def _rounded_down(chance: float | None) -> float | None:
    """Return a chance in whole per cent, never all."""
    return None if chance is None else min(0.99, floor(100 * chance) / 100)


def _company(air: Air, words: _Words) -> str:
    """Return the neighbours heard, the first ones by name."""
    if not air.neighbours:
        return words("move_reason.alone")
    named = words.style.comma.join(
        words("move_reason.neighbour", **asdict(neighbour)) for neighbour in air.neighbours
    )
    more = fill(words.style.more, {"count": air.more}, words.style) if air.more else ""
    return words("move_reason.heard", named=named + more)
