"""What the reports of a store say of its plan: what to do, what it is worth, what it rests on."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from math import fsum

from pipeline.reasons import why_unplanned
from pipeline.records import Severity
from pipeline.report.kit import style
from pipeline.report.kit.tags import in_words
from pipeline.report.store.content import EarshotPair, StoreContent
from pipeline.report.store.next_door import next_door_lines
from pipeline.wording import NOTHING, Wording

_APPROVERS_NAMED = 3
_HELD_NAMED = 3  # stations; more are counted
_SOURCES = ("measured", "inferred", "absent")
_LEVELS = ("measured", "placed", "guessed")
_LONGEST_SHORT = 5  # letters
_SEPARATORS = "-_/. :"


def verdict(content: StoreContent, words: Wording) -> str:
    """Return in a sentence or two what to do in this store, and what it is worth."""
    stops = content.figures.findings[Severity.STOP]
    lead = words.counted("verdict.stop", stops, what=_stops(content)) if stops else ""
    before, after = len(content.figures.shared_now), len(content.figures.shared_planned)
    crowd = words.counted("verdict.crowd", after, before=words.number(before))
    return lead + _advice(content, words) + (f" {crowd}" if after > before else "")


def asked(content: StoreContent, words: Wording) -> str:
    """Return in a sentence what is asked of whom now: to decide, to carry out, or to settle."""
    states = Counter(change.state for change in content.changes)
    if waiting := states["proposed"] + states["deferred"]:
        whom = words("wanted.or").join(content.approvers[:_APPROVERS_NAMED])
        return words.counted("wanted.decide", waiting, whom=whom or words("wanted.approvers"))
    if due := states["approved"] + states["scheduled"]:
        nights = [c.due for c in content.changes if c.state == "scheduled" and c.due]
        if not nights:
            return words.counted("wanted.plan", due)
        return words.counted("wanted.carry_out", due, day=words.day(min(nights).date()))
    return _settling(content, words)


def _settling(content: StoreContent, words: Wording) -> str:
    """Return what is asked where no change is to be decided or carried out."""
    if content.moves and not content.changes:
        return words.counted("wanted.put_forward", len(content.moves))
    if any(one.rule == "labels-not-back" and not one.excepted for one in content.findings):
        return words.counted("wanted.fetch", len(content.behind))
    found = content.figures.findings
    if settle := found[Severity.STOP] + found[Severity.FIX]:
        return words.counted("wanted.settle", settle)
    return words("wanted.nothing")


def _stops(content: StoreContent) -> str:
    """Return the titles of what must not go on, each once."""
    titles = [
        one.title for one in content.findings if one.severity == Severity.STOP and not one.excepted
    ]
    return "; ".join(dict.fromkeys(titles))


def beside(content: StoreContent, words: Wording) -> str:
    """Return what is to be known beside the verdict: stations held, what awaits an answer."""
    asked = sum(item.open for item in content.found)
    found = words.counted("found.line", asked) if asked else ""
    return " ".join(filter(None, (found, _held_line(content, words))))


def _held_line(content: StoreContent, words: Wording) -> str:
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


def side_lines(content: StoreContent, words: Wording) -> str:
    """Return what bears on the changes from aside: answers due, stations held, stores next door."""
    lines = (beside(content, words), *next_door_lines(content.neighbours, words))
    return " ".join(filter(None, lines))


def _advice(content: StoreContent, words: Wording) -> str:
    figures = content.figures
    if content.store.unplanned is not None:
        return words("verdict.unplanned", reason=why_unplanned(content.store.unplanned, words))
    opening = ""
    if figures.to_install:
        mean, basis = _fresh_air(content), _rests_on(content, words)
        key = "verdict.to_install_unknown" if mean is None else "verdict.to_install"
        count, clear = figures.to_install, words.percent(mean)
        opening = words.counted(key, count, clear=clear, basis=basis)
    if not figures.stations:
        return opening or words("verdict.nothing")
    return f"{opening} {_moving(content, words)}".strip()


def _fresh_air(content: StoreContent) -> float | None:
    """Return the mean clear air planned of the stations to be installed; None if not known."""
    known = [s.clear_air_planned for s in content.stations if s.to_install]
    shares = [share for share in known if share is not None]
    return fsum(shares) / len(shares) if shares else None


def _rests_on(content: StoreContent, words: Wording) -> str:
    """Return what is known of the places where stations are to be installed."""
    fresh = {station.station for station in content.stations if station.to_install}
    told = {(cell.station, cell.source) for cell in content.air if cell.station in fresh}
    best = {
        next(source for source in _SOURCES if (station, source) in told)
        for station in fresh
        if any(station == each for each, _ in told)
    }
    air = [words(f"verdict.rests_{source}") for source in _SOURCES if source in best]
    levels = {one.source for one in content.levels if one.station in fresh}
    heard = [words(f"verdict.levels_{one}") for one in _LEVELS if one in levels]
    joined = words("verdict.rests_and")
    levels_said = joined.join(heard) or words("verdict.levels_alone")
    return words("verdict.rests", air=joined.join(air), levels=levels_said)


def _moving(content: StoreContent, words: Wording) -> str:
    """Return whether stations on the air should move, and what that is worth."""
    figures = content.figures
    if not figures.stations_moved:
        clear = figures.clear_air_now
        key = "verdict.stay_unknown" if clear is None else "verdict.stay"
        return words(key, clear=words.percent(clear))
    was, will = (r.value if r else None for r in (figures.weakest_now, figures.weakest_planned))
    average = _gain(figures.clear_air_now, figures.clear_air_planned, words)
    weakest = _gain(was, will, words)
    return words.counted(
        "verdict.change",
        figures.stations_moved,
        all=words.number(figures.stations),
        steps=words.counted("verdict.steps", figures.steps),
        clear_air=words(
            f"verdict.{average[0]}_{weakest[0]}", average=average[1], weakest=weakest[1]
        ),
    )


def _gain(before: float | None, after: float | None, words: Wording) -> tuple[str, str]:
    """Return whether a share goes or stays, and from what to what."""
    was, will = words.percent(before), words.percent(after)
    return ("stays", will) if was == will else ("goes", words("verdict.to", before=was, after=will))


def gap(content: StoreContent) -> float:
    """Return how much of the plan's cost could still be saved at most, 0..1."""
    proof = content.proof
    if proof is None or proof.optimal or proof.cost <= 0:
        return 0.0
    return max(0.0, (proof.cost - proof.bound) / proof.cost)


def evidence_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    """Return what the plan rests on and how good it is proven to be, as label and value."""
    figures = content.figures
    cells = figures.measured + figures.inferred + figures.absent
    shares = (
        (words(f"evidence.{key}"), words.percent(count / cells) if cells else NOTHING)
        for key, count in (
            ("measured", figures.measured),
            ("inferred", figures.inferred),
            ("absent", figures.absent),
            ("own_traffic", figures.own_traffic),
        )
    )
    sureness = " · ".join(map(words.number, figures.sureness.values()))
    return [
        *shares,
        (words("evidence.readings"), words.number(figures.readings_median)),
        (words("evidence.newest"), words.moment(figures.newest_scan)),
        (words("evidence.sureness"), sureness),
        *_proof_lines(content, words),
    ]


def _proof_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    proof = content.proof
    if proof is None:
        return [(words("evidence.proof"), words("evidence.proof_none"))]
    found = words("evidence.proof_gap", gap=words.percent(gap(content)))
    best = words("evidence.proof_optimal") if proof.optimal else found
    order = "evidence.order_proven" if proof.order_proven else "evidence.order_found"
    lines = [(words("evidence.proof"), best), (words("evidence.order"), words(order))]
    if proof.draws:
        lost = {"lost": words.percent(proof.regret, 1), "worst": words.percent(proof.worst, 1)}
        again = words("evidence.drawn", draws=proof.draws, **lost)
        lines.append((words("evidence.again"), again))
    return lines


def pairs_line(shared: Sequence[EarshotPair], words: Wording) -> str:
    """Say how many pairs of stations in earshot share a channel."""
    return words.counted("plan.pairs", len(shared)) if shared else words("plan.pairs.zero")


def plan_in_words(
    caption: str,
    channels: Mapping[str, int | None],
    shared: Sequence[EarshotPair],
    words: Wording,
) -> str:
    """Say what a floor plan shows: each station with its channel, and who shares one."""
    stations = [
        words("plan.on", station=name, channel=words("plan.none") if channel is None else channel)
        for name, channel in channels.items()
    ]
    pairs = [words("plan.pair", one=pair.station, other=pair.neighbour) for pair in shared]
    said = in_words(f"{caption}, {pairs_line(shared, words)}", pairs)
    return f"{said} {in_words(words('plan.in_words'), stations)}"


def across_floors(content: StoreContent, words: Wording) -> str:
    """Say how many pairs share a channel across floors, which no drawing of a floor shows."""
    floors = {station.station: station.floor for station in content.stations}
    now, planned = (
        sum(
            floors[pair.station] != floors[pair.neighbour]
            for pair in shared
            if {pair.station, pair.neighbour} <= floors.keys()  # not one next door
        )
        for shared in (content.figures.shared_now, content.figures.shared_planned)
    )
    if not now + planned:
        return ""
    return words("plan.across", pairs=words.counts(now, planned))


def foot_note(content: StoreContent, words: Wording) -> str:
    """Return the foot line: the store, and what was done about letters the typeface lacks."""
    if any(map(style.lacks, _printed(content))):
        return words("document.unknown_letters", mark=style.MISSING)
    return f"{content.store.store} · {content.store.name}"


def _printed(content: StoreContent) -> Iterator[str]:
    """Yield the printed texts that come from outside."""
    store = content.store
    yield from (store.name, store.store, store.region, store.store_type or "")
    for station in content.stations:
        yield from (station.station, station.name or "", station.reason or "")
    for move in content.moves:
        yield move.reason
    for finding in content.findings:
        yield from (finding.subject, finding.detail, finding.excepted or "")


def short_names(stations: Sequence[str]) -> Mapping[str, str]:
    """Return a short name of each station for drawings, unique in the store.

    Drop what all names begin with if that makes them short; otherwise number the stations.
    """
    endings = _endings(stations)
    if all(0 < len(ending) <= _LONGEST_SHORT for ending in endings):
        return dict(zip(stations, endings, strict=True))
    return {station: str(number) for number, station in enumerate(stations, start=1)}


def _endings(stations: Sequence[str]) -> list[str]:
    """Return the names without their common beginning, up to its last separator."""
    first, last = min(stations, default=""), max(stations, default="")
    different = (i for i, (a, b) in enumerate(zip(first, last, strict=False)) if a != b)
    shared = first[: next(different, len(first))]
    cut = max((shared.rfind(separator) for separator in _SEPARATORS), default=-1) + 1
    return [station[cut:] for station in stations]
