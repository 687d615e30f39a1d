"""Why a station moves or stays: the facts as figures, and the sentence in a language.

The plan keeps the facts as JSON; a report asks for the sentence in the store's language.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

from pipeline.wording import DEFAULT_LANGUAGE, MINUS, texts

_NARROW_SPACE = "\N{NARROW NO-BREAK SPACE}"


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
    locked: bool
    rival: int | None
    worse: float | None
    sureness: str
    parked: bool = False


def to_json(reason: Reason) -> str:
    """Return the facts as JSON, keys in a fixed order."""
    return json.dumps(asdict(reason), ensure_ascii=False, separators=(",", ":"))


def from_json(text: str) -> Reason:
    """Return the facts that `to_json` wrote."""
    facts = json.loads(text)
    for key in ("today", "planned", "staying"):
        facts[key] = _air(facts[key])
    return Reason(**facts)


def _air(facts: Mapping[str, object] | None) -> Air | None:
    if facts is None:
        return None
    named = facts["neighbours"]
    rows: Sequence[Mapping[str, object]] = named if isinstance(named, list) else ()
    return Air(**{**facts, "neighbours": tuple(Neighbour(**row) for row in rows)})  # type: ignore[arg-type]  # as to_json wrote them


def sentence(reason: Reason, language: str = DEFAULT_LANGUAGE) -> str:
    """Return the reason as a sentence, in English if the language is not shipped."""
    words = texts(language)
    parts = []
    if not reason.permitted:
        parts.append(words["move_reason.not_permitted"].format(channel=reason.today.channel))
    if reason.moves:
        parts.append(_on("move_reason.today", reason.today, words))
        if reason.staying is not None:
            company = _company(reason.staying, words)
            parts.append(words["move_reason.staying"].format(company=company))
    parts.append(_on("move_reason.planned", reason.planned, words))
    if not reason.moves:
        parts.append(words["move_reason.locked" if reason.locked else "move_reason.stays"])
    if reason.rival is not None and reason.worse is not None and not reason.locked:
        worse = _percent(max(0.0, reason.worse), 1, words)
        parts.append(words["move_reason.rival"].format(channel=reason.rival, worse=worse))
    parts.append(words[f"move_reason.sureness_{reason.sureness}"])
    text = words["move_reason.between"].join(parts)
    return words["move_reason.parked"].format(reason=text) if reason.parked else text


def _on(key: str, air: Air, words: Mapping[str, str]) -> str:
    if air.noise is None:
        noise = words["move_reason.noise_none"]
    else:
        how = words[f"move_reason.source_{air.source}"]
        if air.wifi:
            how = words["move_reason.with_wifi"].format(how=how, wifi=air.wifi)
        share = _percent(air.noise, 0, words)
        noise = words["move_reason.noise"].format(share=share, how=how)
    shown = words["move_reason.air"].format(noise=noise, company=_company(air, words))
    return words[key].format(channel=air.channel, air=shown)


def _company(air: Air, words: Mapping[str, str]) -> str:
    """Return the neighbours heard, the first ones by name."""
    if not air.neighbours:
        return words["move_reason.alone"]
    named = words["move_reason.comma"].join(
        words["move_reason.neighbour"].format(
            name=n.name, channel=n.channel, level=str(n.heard_dbm).replace("-", MINUS)
        )
        for n in air.neighbours
    )
    more = words["move_reason.more"].format(count=air.more) if air.more else ""
    return words["move_reason.heard"].format(named=named + more)


def _percent(share: float, digits: int, words: Mapping[str, str]) -> str:
    shown = f"{100 * share:.{digits}f}".replace(".", words["number.decimal"])
    return f"{shown}{_NARROW_SPACE}%"
