"""The answers of a region's review: what to decide, what is late or at risk, whether it helps."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import hypot

from pipeline.effect.verdict import Word
from pipeline.reasons import why_unplanned
from pipeline.report.quarter.content import what, where
from pipeline.report.region.content import (
    ChangeOtherwise,
    ChangeProgress,
    JoinedStores,
    OpenDeadline,
    RegionContent,
    StoreLine,
)
from pipeline.wording import MINUS, NOTHING, Wording

_NAMED = 3  # stores; more are counted
_NAMED_BESIDE = 34  # letters of names beside a heading, whose line holds no more
_DUE_SOON_DAYS = 45
_STOP, _FIX = "stop", "fix"


@dataclass(frozen=True, slots=True)
class AnswerLine:
    """A line of an answer: how many, of what, where; a `grave` one is marked."""

    count: str
    text: str
    where: str = ""
    grave: bool = False


@dataclass(frozen=True, slots=True)
class AskedColumn:
    """An answer that asks something: its question, of whom, and what to say if nothing is asked."""

    title: str
    of: str
    lines: tuple[AnswerLine, ...]
    nothing: str


def decisions(content: RegionContent, words: Wording) -> list[AnswerLine]:
    """Return what the manager must decide: first of all what settles a stop."""
    first = [p for p in content.pending if p.first]
    waiting = [p for p in content.pending if not p.first and p.state == "proposed"]
    deferred = [p for p in content.pending if not p.first and p.state != "proposed"]
    asked = {
        "first": [content.place(p) for p in first],
        "changes": [content.place(p) for p in waiting],
        "deferred": [content.place(p) for p in deferred],
        "unput": [content.place(s) for s in content.stores for _ in range(s.unput)],
        "astray": [content.place(s) for s in content.stores for _ in range(s.unanswered)],
        "found": [content.place(s) for s in content.stores for _ in range(s.to_answer)],
        "unagreed": [content.place(s) for s in content.stores for _ in range(s.unagreed)],
    }
    oldest = words.day(min((p.proposed_on for p in waiting), default=content.as_of))
    return [
        *(
            _counted(words, f"review.decide_{key}", stores, grave=key == "first", day=oldest)
            for key, stores in asked.items()
            if stores
        ),
        *_two_regions(content, words),
        *_rollouts(content, words),
        *_exceptions(content, words),
    ]


def _joined(content: RegionContent) -> list[JoinedStores]:
    """Return the stores planned together, in the chain's review those of two regions once."""
    return [one for one in content.joined if not content.parts or one.store < one.other]


def _two_regions(content: RegionContent, words: Wording) -> Iterator[AnswerLine]:
    """Yield the stores planned together with one of another region."""
    if far := [one for one in _joined(content) if one.other_region is not None]:
        text = words.counted("review.joint_regions", len(far))
        where = named(words, [f"{one.store} + {one.other} ({one.other_region})" for one in far])
        yield AnswerLine(words.number(len(far)), text, where)


def _rollouts(content: RegionContent, words: Wording) -> Iterator[AnswerLine]:
    for one in content.astray:
        if one.rollout and one.answer != "put back":
            text = words("review.decide_rollout", what=what(one, words))
            yield AnswerLine(words.number(one.stations), text, where(one, words))


def _exceptions(content: RegionContent, words: Wording) -> Iterator[AnswerLine]:
    for key, over in (("review.exceptions_over", True), ("review.exceptions_ending", False)):
        if found := [e for e in content.expiring if e.over is over]:
            day = words.day(min(e.until for e in found))
            yield _counted(words, key, [content.place(e) for e in found], day=day)


def asked(content: RegionContent, words: Wording) -> list[AskedColumn]:
    """Return the three answers that ask something of somebody; the chain's review says of whom."""
    approvers = _approvers(content, words)
    answers = {
        "decide": decisions(content, words),
        "late": delays(content, words),
        "risk": risks(content, words),
    }
    return [
        AskedColumn(
            words(f"question.{key}"),
            words(f"asked.{key}", who=approvers) if content.parts else "",
            tuple(lines),
            words(f"empty.{key}"),
        )
        for key, lines in answers.items()
    ]


def next_step(store: StoreLine, words: Wording) -> str:
    """Return what comes next in a store: missed nights, the next one, or why there is none."""
    if store.unplanned is not None:
        return why_unplanned(store.unplanned, words)
    day = store.next_work.date() if store.next_work else store.laid_out
    if store.overdue:
        text = words("review.overdue", n=words.number(store.overdue))
    elif day and store.open:
        told = words.day(day)
        text = told if store.next_work else words("review.provisional", day=told)
    elif store.to_put_right:
        text = words.counted("review.to_put_right", store.to_put_right)
    elif store.approved or store.to_decide:
        text = words("progress.approved" if store.approved else "progress.to_decide")
    else:
        text = NOTHING
    return text


def delays(content: RegionContent, words: Wording) -> list[AnswerLine]:
    """Return what is late: deadlines, missed nights, no nights, unchecked work."""
    lines = [
        _deadline(due, content.as_of, words)
        for due in content.deadlines
        if (due.by - content.as_of).days <= _DUE_SOON_DAYS
    ]
    for why in ("overdue", "no_night", "labels", "unchecked"):
        late = [one for one in content.late if one.why == why]
        if late:
            first = min(one.since for one in late)
            days = words.counted("late.days", (content.as_of - first).days)
            stores = [content.place(one) for one in late]
            lines.append(_counted(words, f"late.{why}", stores, grave=why == "overdue", days=days))
    return lines


def _deadline(due: OpenDeadline, as_of: date, words: Wording) -> AnswerLine:
    left = (due.by - as_of).days
    key = "review.deadline_passed" if left < 0 else "review.deadline"
    text = words.counted(
        key, due.open, all=words.number(due.changes), day=words.day(due.by), reason=due.reason
    )
    return AnswerLine(words.number(due.open), text, due.store or "", grave=left < 0)


def follows(change: ChangeOtherwise, words: Wording) -> str:
    """Return what follows from a change that does not stand as ordered."""
    key = f"follows.{change.closed.replace(' ', '_')}"
    ordered, found = words.channel(change.ordered_channel), words.channel(change.channel_found)
    return words(key, ordered=ordered, found=found)


def risks(content: RegionContent, words: Wording) -> list[AnswerLine]:
    """Return what is at risk: grave findings, failed changes, stores without a plan."""
    lines = list(_findings(content, _STOP, words))
    if failed := [content.place(s) for s in content.stores for _ in range(s.failed)]:
        lines.append(_counted(words, "review.risk_failed", failed, grave=True))
    for closed, key in (("done differently", "differently"), ("undone", "undone")):
        if stores := [content.place(c) for c in content.otherwise if c.closed == closed]:
            grave = key == "differently"
            lines.append(_counted(words, f"review.risk_{key}", stores, grave=grave))
    if unplanned := [content.place(s) for s in content.stores if s.unplanned is not None]:
        lines.append(_counted(words, "review.risk_unplanned", unplanned))
    lines += _next_door(content, words)
    lines += _findings(content, _FIX, words)
    for rule, title in dict.fromkeys((f.rule, f.title) for f in content.anywhere):
        subjects = [f.subject for f in content.anywhere if f.rule == rule]
        lines.append(AnswerLine(words.number(len(subjects)), title, named(words, subjects)))
    return lines


def _next_door(content: RegionContent, words: Wording) -> Iterator[AnswerLine]:
    """Yield how many pairs of stations share a channel through walls, today or as planned."""
    if near := [one for one in _joined(content) if one.shared_now or one.shared_planned]:
        now, planned = (
            sum(one.shared_now for one in near),
            sum(one.shared_planned for one in near),
        )
        shared = {"now": words.number(now), "planned": words.number(planned)}
        most = max(now, planned)
        text = words.counted("review.next_door", most, **shared)
        where = named(words, [f"{one.store} + {one.other}" for one in near])
        yield AnswerLine(words.number(most), text, where)


def _findings(content: RegionContent, severity: str, words: Wording) -> Iterator[AnswerLine]:
    """Yield the findings of a severity by rule, the most first."""
    meant = [f for f in content.findings if f.severity == severity]
    for rule in _most_first([f.rule for f in meant]):
        found = [f for f in meant if f.rule == rule]
        text = words("review.risk_finding", title=found[0].title, n=words(f"severity.{severity}"))
        where = named(words, _most_first([content.place(f) for f in found]))
        yield AnswerLine(words.number(len(found)), text, where, grave=severity == _STOP)


def _counted(
    words: Wording,
    key: str,
    stores: Sequence[str],
    *,
    grave: bool = False,
    **values: str,
) -> AnswerLine:
    """Return a line that counts something in stores, each named once for every case."""
    text = words.counted(key, len(stores), **values)
    return AnswerLine(words.number(len(stores)), text, named(words, _most_first(stores)), grave)


def _most_first(stores: Iterable[str]) -> list[str]:
    ranked = sorted(Counter(stores).items(), key=lambda pair: (-pair[1], pair[0]))
    return [store for store, _ in ranked]


def named(words: Wording, names: Sequence[str]) -> str:
    """Return the first names, and how many more there are."""
    shown = ", ".join(names[:_NAMED])
    rest = len(names) - _NAMED
    return shown if rest <= 0 else words("review.and_more", names=shown, n=words.number(rest))


def verdict(content: RegionContent, words: Wording) -> str:
    """Return the review in a few sentences: what it asks, how far, whether it helps."""
    parts = [*_asked_first(content, words), _how_far(content, words)]
    if content.promises:
        found = promise_means(content)
        means = {key: words.percent(found.get(key)) for key in ("was", "promised", "measured")}
        key = f"review.{_helping(content)}"
        parts.append(words.counted(key, len(content.promises), **means, gain=_gain(content, words)))
    return " ".join(filter(None, parts))


def _asked_first(content: RegionContent, words: Wording) -> Iterator[str]:
    """Yield what the review asks before it says how things stand."""
    if content.parts:
        proof = content.proof
        if proof is not None and proof.verdict.word is not Word.NOT_YET:
            yield f"{words(f'proof.{proof.verdict.word.value}')}."
        lines = [line for one in asked(content, words) for line in one.lines]
        grave = sum(line.grave for line in lines)
        if lines:
            count = words.number(len(lines))
            key = "chain.asks_urgent" if grave else "chain.asks"
            yield words.counted(key, grave or len(lines), all=count)
    if waits := _waiting(content):
        key = "review.all_wait" if waits == content.changes else "review.waiting"
        whom, stores = _approvers(content, words), _concerned(content, words)
        yield words.counted(key, waits, whom=whom, stores=stores)
        nights = [s.laid_out for s in content.stores if s.laid_out and s.to_decide + s.unput]
        if nights:
            yield words("review.decide_by", day=words.day(min(nights)))
    if approved := content.count(ChangeProgress.APPROVED):
        yield words.counted("wanted.plan", approved)
    if (unplanned := _unplanned(content)) and not content.changes:
        yield words.counted("review.ask_plans", unplanned)


def _approvers(content: RegionContent, words: Wording) -> str:
    return words("wanted.or").join(content.approvers) or words("wanted.approvers")


def note_asked(
    content: RegionContent, words: Wording, keys: tuple[str, str], **values: object
) -> str:
    """Return what the list on page two asks, and of whom; by name where the line has room.

    `keys` are the texts of a list with changes that wait for a decision, and of one without.
    """
    asks, reads = keys
    if not _waiting(content):
        if _unplanned(content) and not values:
            return words("review.plans_note")
        return words(reads, **values)
    names = _approvers(content, words)
    whom = names if len(names) <= _NAMED_BESIDE else words("wanted.approvers")
    return words(asks, whom=whom, **values)


def _unplanned(content: RegionContent) -> int:
    return sum(store.unplanned is not None for store in content.stores)


def _waiting(content: RegionContent) -> int:
    """Return how many changes wait for a decision."""
    return len(content.pending) + content.count(ChangeProgress.UNPUT)


def _concerned(content: RegionContent, words: Wording) -> str:
    return words.counted("review.stores", sum(bool(s.changes) for s in content.stores))


def nothing_to_change(content: RegionContent, words: Wording) -> str:
    """Return that no change is planned; where stores have no plan, that this is why."""
    unplanned = _unplanned(content)
    if not unplanned:
        return words("review.nothing_to_change")
    key = "review.nothing_known" if unplanned == len(content.stores) else "review.some_unplanned"
    return words.counted(key, unplanned)


def _how_far(content: RegionContent, words: Wording) -> str:
    if not content.changes:
        return nothing_to_change(content, words)
    if _waiting(content) == content.changes:
        return ""  # which is said already
    undone = content.count(ChangeProgress.UNDONE)
    if undone == content.changes:
        return words.counted("review.all_undone", undone)
    open_still = sum(s.open for s in content.stores)
    stores = sum(bool(s.done) for s in content.stores)
    concerned = _concerned(content, words)
    if open_still == content.changes:
        return words.counted("review.not_begun", content.changes, stores=concerned)
    parts = [
        words.counted(
            "review.how_far", content.done, all=words.number(content.changes),
            stores=words.number(stores), concerned=concerned,
        )
    ]  # fmt: skip
    parts.extend(
        words.counted(f"review.were_{progress.value}", count)
        for progress in (ChangeProgress.DIFFERENTLY, ChangeProgress.UNDONE)
        if (count := content.count(progress))
    )
    return " ".join(parts)


def mean_gain(content: RegionContent) -> tuple[float, float, float]:
    """Return the mean gain of the measured changes and its 5 and 95 % points.

    The changes' errors are taken as independent: the interval's sides are the roots of the sums of
    the squares of theirs, over their number.
    """
    gains = [(one.measured - one.was, one) for one in content.promises]
    count = len(gains)
    mean = sum(gain for gain, _ in gains) / count
    down = hypot(*(gain - one.gained_low for gain, one in gains if one.gained_low is not None))
    up = hypot(*(one.gained_high - gain for gain, one in gains if one.gained_high is not None))
    return mean, mean - down / count, mean + up / count


def _helping(content: RegionContent) -> str:
    _, low, high = mean_gain(content)
    return "helping" if low > 0 else "harming" if high < 0 else "no_difference"


def _gain(content: RegionContent, words: Wording) -> str:
    mean, low, high = mean_gain(content)
    return words("review.gain", **{
        key: f"{'+' if value >= 0 else MINUS}{words.number(abs(100 * value), 1)}"
        for key, value in (("mean", mean), ("low", low), ("high", high))
    })  # fmt: skip


def promise_means(content: RegionContent) -> Mapping[str, float]:
    """Return mean clear air of the measured changes: was, promised where any was, measured."""
    known = {
        key: [share for one in content.promises if (share := getattr(one, key)) is not None]
        for key in ("was", "promised", "measured")
    }
    return {key: sum(shares) / len(shares) for key, shares in known.items() if shares}
