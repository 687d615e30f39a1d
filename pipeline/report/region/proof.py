"""Whether a rollout helps, in words: the verdict, what it rests on, and what stands in its way."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import accumulate
from math import isfinite

from pipeline.effect.compare import STORES_LEAST, Estimate, UpdateCost
from pipeline.effect.gather import EffectLine, RolloutProof
from pipeline.effect.verdict import RolloutVerdict, Sight, Why
from pipeline.effect.windows import LeftOut, Measure, WashOut
from pipeline.report.kit.booklet import Block
from pipeline.report.kit.pen import SMALL, SMALL_STRONG, Box, Pen, text_height
from pipeline.report.region.content import RegionContent
from pipeline.wording import MINUS, Wording

_NAMED = 6
_LEFT_OUT_MOST = 6  # lines of them on paper
_TOPIC_W = 110.0  # points


def points(share: float, words: Wording) -> str:
    """Return a difference of shares in points, with its sign."""
    return f"{'+' if share >= 0 else MINUS}{words.number(abs(100 * share), 1)}"


def gain(found: Estimate, words: Wording) -> str:
    """Return an effect with its interval."""
    mean = points(found.effect, words)
    if not (isfinite(found.low) and isfinite(found.high)):
        return words("proof.gain_open", mean=mean)
    low, high = points(found.low, words), points(found.high, words)
    return words("proof.gain", mean=mean, low=low, high=high)


def word(proof: RolloutProof, words: Wording) -> str:
    """Return the verdict in a word."""
    return words(f"proof.{proof.verdict.word.value}")


def gains(proof: RolloutProof, words: Wording) -> list[str]:
    """Return the effect of all waves judged, by outcome."""
    return [
        f"{_capital(words(f'outcome_of.{line.outcome.value}'))}: {gain(line.found, words)}"
        for line in proof.lines
        if line.days is None and line.found is not None
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def why(proof: RolloutProof, words: Wording) -> str:
    """Return what the verdict rests on; of one that is open what is missing, and by when."""
    said, rule = proof.verdict, proof.rule
    of = words(f"outcome_of.{said.outcome}") if said.outcome else ""
    text = words(
        f"proof.why.{said.why.value}",
        outcome=of,
        least=words.number(100 * rule.gain_least, 1),
        loss=words.number(100 * rule.loss_most, 1),
        days=words.number(proof.days),
    )
    return " ".join((text, *_missing(said, proof, words)))


def _missing(said: RolloutVerdict, proof: RolloutProof, words: Wording) -> Iterator[str]:
    least = words.number(100 * proof.rule.gain_least, 1)
    if said.why is Why.WIDE and said.stores is not None:
        yield words.counted("proof.stores", said.stores, least=least)
    elif said.why is Why.WIDE:
        yield words("proof.no_stores", least=least)
    if said.why is Why.DAYS_LEFT or said.until is not None:
        yield words("proof.until", day=words.day(said.until))
    elif said.why in {Why.NO_WAVE, Why.NO_AIR, Why.NO_LABELS, Why.WIDE}:
        yield words("proof.nothing_laid_out")


def sentences(
    proof: RolloutProof,
    chain: RolloutProof | None,
    costs: Sequence[UpdateCost],
    offer: float | None,
    words: Wording,
) -> list[tuple[str, str]]:
    """Return all that the verdict rests on, as headings and sentences."""
    told = [(_title("rule", words), text) for text in _rule(proof, words)]
    told += [(_title("found", words), _line(line, words)) for line in proof.lines if _said(line)]
    if chain is not None:
        told.append((_title("chain", words), f"{word(chain, words)}. {why(chain, words)}"))
        told += [(_title("chain", words), _line(line, words)) for line in chain.lines if line.found]
    told += [(_title("sight", words), sight(one, words)) for one in proof.sights]
    if proof.verdict.why is Why.NO_WAVE and proof.verdict.until and not proof.sights:
        told.append((_title("sight", words), words("proof.sees_unknown")))
    told += [(_title("costs", words), text) for text in _costs(costs, offer, words)]
    told += [(_title("left_out", words), text) for text in _left_out(proof.left_out, words)]
    return told


def _title(key: str, words: Wording) -> str:
    return words(f"proof.title.{key}")


def _rule(proof: RolloutProof, words: Wording) -> Iterator[str]:
    key = "proof.rule_stated" if proof.stated_on else "proof.rule_open"
    yield words(
        key,
        day=words.day(proof.stated_on),
        least=words.number(100 * proof.rule.gain_least, 1),
        loss=words.number(100 * proof.rule.loss_most, 1),
    )
    if proof.reworded:
        yield words("proof.reworded")
    if not proof.by_chance:
        yield words("proof.why.not_drawn")


def _said(line: EffectLine) -> bool:
    """Say whether a line tells something: an effect, or of one wave that it is not known."""
    return line.found is not None or line.days is not None


def _line(line: EffectLine, words: Wording) -> str:
    """Return an effect, of whom against whom, over which days; or that it is not known."""
    if line.found is None:
        outcome = words(f"outcome_of.{line.outcome.value}")
        return words("proof.line_unknown", wave=line.days and line.days.wave, outcome=outcome)
    sizes = {
        "outcome": words(f"outcome_of.{line.outcome.value}"),
        "gain": gain(line.found, words),
        "turned": words.number(line.found.turned),
        "controls": words.number(line.found.controls),
    }
    if line.days is None:
        return _capital(words("proof.line_all", **sizes))
    days = (*line.days.before, *line.days.after)
    spans = dict(zip(("from", "to", "since", "until"), map(words.day, days), strict=True))
    key = "proof.line" if line.days.until is None else "proof.line_within"
    return words(key, wave=line.days.wave, **sizes, **spans)


def _left_out(left: Sequence[LeftOut], words: Wording) -> Iterator[str]:
    """Yield who is left out, by wave, reason and figures."""
    figures: defaultdict[tuple[str, WashOut, str], set[Measure]] = defaultdict(set)
    for one in left:
        figures[one.wave, one.reason, one.store] |= {one.outcome} if one.outcome else set(Measure)
    alike = defaultdict(list)
    for (wave, reason, store), found in sorted(figures.items()):
        alike[wave, reason, tuple(sorted(found))].append(store)
    for (wave, reason, outcomes), stores in alike.items():
        names = ", ".join(stores[:_NAMED])
        if len(stores) > _NAMED:
            names = words("review.and_more", names=names, n=words.number(len(stores) - _NAMED))
        whole = len(outcomes) == len(Measure)
        of = ", ".join(words(f"outcome_of.{each}") for each in outcomes)
        yield words(
            "proof.left_out", wave=wave, outcome=words("outcome_of.all") if whole else of,
            reason=words(f"left_out.{reason.value}"), names=names,
        )  # fmt: skip


def sight(one: Sight, words: Wording) -> str:
    """Return what a wave would see, and what pilot it takes to see what is wanted."""
    values = {
        "wave": one.wave,
        "turned": words.number(one.turned),
        "controls": words.number(one.controls),
        "outcome": words(f"outcome_of.{one.outcome}"),
        "least": words.number(100 * (one.least or 0.0), 1),
        "effect": words.number(100 * one.effect, 1),
    }
    if one.within:
        return words("proof.sees_within" if one.least else "proof.sees_within_nothing", **values)
    text = words("proof.sees_nothing" if one.least is None else "proof.sees", **values)
    if one.pilot is None:
        return f"{text} {words('proof.no_pilot', **values)}"
    return f"{text} {words.counted('proof.pilot', one.pilot, effect=values['effect'])}"


def _costs(costs: Sequence[UpdateCost], offer: float | None, words: Wording) -> Iterator[str]:
    if not costs:
        yield words("proof.costs_open", n=words.number(STORES_LEAST))
    for cost in costs:
        mean, low, high = (points(share, words) for share in cost.points)
        term = words(f"burden.{cost.term}")
        yield words("proof.cost", term=term, mean=mean, low=low, high=high)
    if offer is not None:
        yield words("proof.offer", weight=words.number(offer, 1), line=f"{offer:.1f}")


def basis_rows(
    content: RegionContent, width: float, words: Wording, room: float | None = None
) -> Block:
    """Return what the verdict rests on, a sentence a row, each under what it is about.

    With a height given no more than fits it, few of those left out, and how much more the workbook
    has.
    """
    told: list[tuple[str, str]] = []
    if content.proof is not None:
        told = sentences(content.proof, content.chain, content.costs, content.offer, words)
    inner = width - _TOPIC_W
    if room is not None:
        left = sum(topic == _title("left_out", words) for topic, _ in told)
        ends = list(accumulate(text_height(text, SMALL, inner, 6) + 3 for _, text in told))
        fitting = sum(end <= room - 2 * SMALL.leading for end in ends)
        shown = min(fitting, len(told) - max(0, left - _LEFT_OUT_MOST))
        if shown < len(told):
            more = words.counted("review.more_items", len(told) - shown)
            told = [*told[:shown], ("", more)]

    def draw(pen: Pen, box: Box, items: Sequence[int]) -> None:
        y = box.y
        for place, i in enumerate(items):
            topic, text = told[i]
            if topic and (not place or told[i - 1][0] != topic):
                pen.text(box.x, y + 8, topic, SMALL_STRONG, width=_TOPIC_W - 6)
            pen.paragraph(Box(box.x + _TOPIC_W, y, inner, 0), text, SMALL, lines=6)
            y += heights[i]

    heights = tuple(text_height(text, SMALL, inner, 6) + 3 for _, text in told)
    return Block("basis", words("proof.basis"), 1, 4.0, heights, draw)
