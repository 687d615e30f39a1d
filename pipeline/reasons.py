"""Why a station moves or stays: the facts in plain figures, and the sentence in a language.

The plan gives the facts, kept as JSON; who prints them asks for the sentence. The wordings are
data: `reasons_<language>.toml`.
"""

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

_FOLDER = Path(__file__).resolve().parent
_DEFAULT = "en"
_MINUS = "\u2212"


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


def sentence(reason: Reason, language: str = _DEFAULT) -> str:
    """Return the reason as a sentence; English where the language is not shipped."""
    texts = _texts(language)
    parts = []
    if not reason.permitted:
        parts.append(texts["not_permitted"].format(channel=reason.today.channel))
    if reason.moves:
        parts.append(_on("today", reason.today, texts))
        if reason.staying is not None:
            parts.append(texts["staying"].format(company=_company(reason.staying, texts)))
    parts.append(_on("planned", reason.planned, texts))
    if not reason.moves:
        parts.append(texts["locked" if reason.locked else "stays"])
    if reason.rival is not None and reason.worse is not None and not reason.locked:
        worse = _percent(max(0.0, reason.worse), 1, texts)
        parts.append(texts["rival"].format(channel=reason.rival, worse=worse))
    parts.append(texts[f"sureness_{reason.sureness}"])
    text = texts["between"].join(parts)
    return texts["parked"].format(reason=text) if reason.parked else text


def _on(key: str, air: Air, texts: Mapping[str, str]) -> str:
    return texts[key].format(channel=air.channel, air=_shown(air, texts))


def _level(level_dbm: int) -> str:
    return str(level_dbm).replace("-", _MINUS)


def _shown(air: Air, texts: Mapping[str, str]) -> str:
    if air.noise is None:
        noise = texts["noise_none"]
    else:
        how = texts[f"source_{air.source}"]
        if air.wifi:
            how = texts["with_wifi"].format(how=how, wifi=air.wifi)
        noise = texts["noise"].format(share=_percent(air.noise, 0, texts), how=how)
    return texts["air"].format(noise=noise, company=_company(air, texts))


def _company(air: Air, texts: Mapping[str, str]) -> str:
    if not air.neighbours:
        return texts["alone"]
    named = texts["comma"].join(
        texts["neighbour"].format(name=n.name, channel=n.channel, level=_level(n.heard_dbm))
        for n in air.neighbours
    )
    more = texts["more"].format(count=air.more) if air.more else ""
    return texts["heard"].format(named=named + more)


def _percent(share: float, digits: int, texts: Mapping[str, str]) -> str:
    return f"{100 * share:.{digits}f}".replace(".", texts["decimal"]) + "\u202f%"


@cache
def _texts(language: str) -> Mapping[str, str]:
    path = _FOLDER / f"reasons_{language}.toml"
    chosen = path if path.is_file() else _FOLDER / f"reasons_{_DEFAULT}.toml"
    return tomllib.loads(chosen.read_text(encoding="utf-8"))
