"""The one sentence a regional manager reads."""

from pipeline.records import Severity
from pipeline.report.content import Rated, StoreContent
from pipeline.report.wording import Wording


def verdict(content: StoreContent, words: Wording) -> str:
    """Return what is to be done in this store, and what it is worth."""
    stops = content.figures.findings[Severity.STOP]
    lead = words.counted("verdict.stop", stops) if stops else ""
    return lead + _sentence(content, words)


def _sentence(content: StoreContent, words: Wording) -> str:
    figures = content.figures
    if content.store.unplanned is not None:
        return words("verdict.unplanned", reason=content.store.unplanned)
    if not figures.stations:
        return words("verdict.nothing")
    if not figures.stations_moved:
        clear = figures.clear_air_now
        key = "verdict.stay_unknown" if clear is None else "verdict.stay"
        return words(key, clear=words.percent(clear))
    before, after = figures.weakest_now, figures.weakest_planned
    return words.counted(
        "verdict.change",
        figures.stations_moved,
        all=words.number(figures.stations),
        steps=words.counted("verdict.steps", figures.steps),
        average=_change("average", figures.clear_air_now, figures.clear_air_planned, words),
        weakest=_change("weakest", _value(before), _value(after), words),
    )


def _change(what: str, before: float | None, after: float | None, words: Wording) -> str:
    was, will = words.percent(before), words.percent(after)
    key = f"verdict.{what}_same" if was == will else f"verdict.{what}"
    return words(key, before=was, after=will)


def _value(rated: Rated | None) -> float | None:
    return rated.value if rated else None


def gap(content: StoreContent) -> float:
    """Return how far the plan's cost may be from the best one, as a share of that cost."""
    proof = content.proof
    if proof is None or proof.optimal or proof.cost <= 0:
        return 0.0
    return max(0.0, (proof.cost - proof.bound) / proof.cost)
