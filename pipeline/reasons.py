"""Why a station moves or stays: the facts in plain figures, and the sentence in a language.

The plan gives the facts, kept as JSON; who prints them asks for the sentence. The wordings are
data: the group `reason` of `phrases_<language>.toml`.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

from pipeline.phrases import DEFAULT_LANGUAGE, Style, fill, style, texts


@dataclass(frozen=True, slots=True)
class Neighbour:
    """An own station heard on the same channel or beside it."""

    name: str
    channel: int
    heard_dbm: int


@dataclass(frozen=True, slots=True)
class Air:
    """A channel as one station finds it: outside noise (0..1, None: no evidence) and neighbours."""

    channel: int
    noise: float | None
    source: str
    wifi: str | None
    neighbours: tuple[Neighbour, ...]
    more: int  # further neighbours, not named


@dataclass(frozen=True, slots=True)
class Reason:
    """Everything a sentence needs.

    `today` and `planned` are the air now and as planned, the same for a station that stays;
    `staying` is the air on today's channel once the others have moved, where that differs.
    `rival` is the next best channel and `worse` what it costs more, as a share of the clear air of
    an average station.
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
    """Return the reason as a sentence; English where the language is not shipped."""
    words = _Words(texts(language, "reason"), style(language))
    parts = []
    if not reason.permitted:
        parts.append(words("not_permitted", channel=reason.today.channel))
    if reason.moves:
        parts.append(_on("today", reason.today, words))
        if reason.staying is not None:
            parts.append(words("staying", company=_company(reason.staying, words)))
    parts.append(_on("planned", reason.planned, words))
    if not reason.moves:
        parts.append(words("locked" if reason.locked else "stays"))
    if reason.rival is not None and reason.worse is not None and not reason.locked:
        parts.append(words("rival", channel=reason.rival, worse=max(0.0, reason.worse)))
    parts.append(words(f"sureness_{reason.sureness}"))
    text = words("between").join(parts)
    return words("parked", reason=text) if reason.parked else text


@dataclass(frozen=True, slots=True)
class _Words:
    """The texts of a language and its way with numbers."""

    texts: Mapping[str, str]
    style: Style

    def __call__(self, key: str, **values: object) -> str:
        return fill(self.texts[key], values, self.style)


def _on(key: str, air: Air, words: _Words) -> str:
    return words(key, channel=air.channel, air=_shown(air, words))


def _shown(air: Air, words: _Words) -> str:
    if air.noise is None:
        noise = words("noise_none")
    else:
        how = words(f"source_{air.source}")
        if air.wifi:
            how = words("with_wifi", how=how, wifi=air.wifi)
        noise = words("noise", share=air.noise, how=how)
    return words("air", noise=noise, company=_company(air, words))


def _company(air: Air, words: _Words) -> str:
    if not air.neighbours:
        return words("alone")
    named = words.style.comma.join(words("neighbour", **asdict(n)) for n in air.neighbours)
    more = fill(words.style.more, {"count": air.more}, words.style) if air.more else ""
    return words("heard", named=named + more)
