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
        before=words.percent(figures.clear_air_now),
        after=words.percent(figures.clear_air_planned),
        weakest=_weakest(before, after, words),
    )


def _weakest(before: Rated | None, after: Rated | None, words: Wording) -> str:
    was = words.percent(before.value if before else None)
    will = words.percent(after.value if after else None)
    key = "verdict.weakest_same" if was == will else "verdict.weakest"
    return words(key, before=was, after=will)


def gap(content: StoreContent) -> float:
    """Return how far the plan's cost may be from the best one, as a share of that cost."""
    proof = content.proof
    if proof is None or proof.optimal or proof.cost <= 0:
        return 0.0
    return max(0.0, (proof.cost - proof.bound) / proof.cost)
