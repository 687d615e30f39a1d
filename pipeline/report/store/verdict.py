"""What the reports of a store say first: what to do, what it is worth, and what is held."""

from pipeline.records import Severity
from pipeline.report.store.content import StoreContent
from pipeline.wording import Wording

_HELD_NAMED = 3  # stations; more are counted


def verdict(content: StoreContent, words: Wording) -> str:
    """Return in a sentence or two what to do in this store, and what it is worth."""
    stops = content.figures.findings[Severity.STOP]
    lead = words.counted("verdict.stop", stops, what=_stops(content)) if stops else ""
    before, after = len(content.figures.shared_now), len(content.figures.shared_planned)
    crowd = words.counted("verdict.crowd", after, before=words.number(before))
    return lead + _advice(content, words) + (f" {crowd}" if after > before else "")


def _stops(content: StoreContent) -> str:
    """Return the titles of what must not go on, each once."""
    titles = [
        one.title for one in content.findings if one.severity == Severity.STOP and not one.excepted
    ]
    return "; ".join(dict.fromkeys(titles))


def held_line(content: StoreContent, words: Wording) -> str:
    """Return which stations are held and why, in one sentence; empty where none is."""
    if not content.held:
        return ""
    shown = [
        words(f"held.{one.why}", station=one.station, by=one.by, day=words.day(one.since))
        for one in content.held[:_HELD_NAMED]
    ]
    if rest := len(content.held) - len(shown):
        shown.append(words.counted("held.more", rest))
    return words.counted("held.line", len(content.held), which="; ".join(shown))


def _advice(content: StoreContent, words: Wording) -> str:
    figures = content.figures
    if content.store.unplanned is not None:
        return words("verdict.unplanned", reason=content.store.unplanned)
    if not figures.stations:
        return words("verdict.nothing")
    if not figures.stations_moved:
        clear = figures.clear_air_now
        key = "verdict.stay_unknown" if clear is None else "verdict.stay"
        return words(key, clear=words.percent(clear))
    was, will = (r.value if r else None for r in (figures.weakest_now, figures.weakest_planned))
    return words.counted(
        "verdict.change",
        figures.stations_moved,
        all=words.number(figures.stations),
        steps=words.counted("verdict.steps", figures.steps),
        average=_gain("average", figures.clear_air_now, figures.clear_air_planned, words),
        weakest=_gain("weakest", was, will, words),
    )


def _gain(what: str, before: float | None, after: float | None, words: Wording) -> str:
    was, will = words.percent(before), words.percent(after)
    key = f"verdict.{what}_same" if was == will else f"verdict.{what}"
    return words(key, before=was, after=will)
