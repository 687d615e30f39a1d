"""The answers a manager looks for: what needs a decision, what is late, what is at risk."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from pipeline.report.region_content import Due, Found, Progress, RegionContent
from pipeline.report.wording import Wording

_NAMED = 3
_DUE_SOON_DAYS = 45
_STOP, _FIX = "stop", "fix"


@dataclass(frozen=True, slots=True)
class Item:
    """One line of an answer: how many, of what, where; `grave` ones are marked."""

    count: str
    text: str
    where: str = ""
    grave: bool = False


def decisions(content: RegionContent, words: Wording) -> list[Item]:
    """Return what needs the manager's decision."""
    items = []
    waiting = [p for p in content.pending if p.state == "proposed"]
    deferred = [p for p in content.pending if p.state != "proposed"]
    if waiting:
        oldest = words.day(min(p.proposed_on for p in waiting))
        text = words.counted("review.decide_changes", len(waiting), day=oldest)
        items.append(_item(words, len(waiting), text, (p.store for p in waiting)))
    if deferred:
        text = words.counted("review.decide_deferred", len(deferred))
        items.append(_item(words, len(deferred), text, (p.store for p in deferred)))
    if unput := content.count(Progress.UNPUT):
        stores = (s.store for s in content.stores if s.unput for _ in range(s.unput))
        items.append(_item(words, unput, words.counted("review.decide_unput", unput), stores))
    if content.astray:
        count = len({(a.store, a.subject) for a in content.astray})
        text = words.counted("review.decide_astray", count)
        items.append(_item(words, count, text, (a.store for a in content.astray)))
    for over in (True, False):
        found = [e for e in content.expiring if e.over is over]
        if found:
            key = "review.exceptions_over" if over else "review.exceptions_ending"
            text = words.counted(key, len(found), day=words.day(min(e.until for e in found)))
            items.append(_item(words, len(found), text, (e.store for e in found)))
    return items


def delays(content: RegionContent, words: Wording) -> list[Item]:
    """Return what is late: missed nights, no nights, unchecked work, deadlines."""
    items = [
        _deadline(due, content.as_of, words) for due in content.deadlines if _near(due, content)
    ]
    for why, grave in (("overdue", True), ("no_night", False), ("unchecked", False)):
        late = [one for one in content.late if one.why == why]
        if late:
            days = (content.as_of - min(one.since for one in late)).days
            text = words.counted(f"late.{why}", len(late), days=words.number(days))
            items.append(_item(words, len(late), text, (one.store for one in late), grave=grave))
    return items


def _near(due: Due, content: RegionContent) -> bool:
    return (due.by - content.as_of).days <= _DUE_SOON_DAYS


def _deadline(due: Due, as_of: date, words: Wording) -> Item:
    left = (due.by - as_of).days
    key = "review.deadline_passed" if left < 0 else "review.deadline"
    text = words.counted(
        key, due.open, all=words.number(due.changes), day=words.day(due.by), reason=due.reason
    )
    return Item(words.number(due.open), text, due.store or "", grave=left < 0)


def risks(content: RegionContent, words: Wording) -> list[Item]:
    """Return what is at risk: findings to settle, changes that failed, stores without a plan."""
    items = list(_findings(content.findings, _STOP, words))
    if failed := content.count(Progress.FAILED):
        stores = (s.store for s in content.stores if s.failed for _ in range(s.failed))
        items.append(
            _item(words, failed, words.counted("review.risk_failed", failed), stores, grave=True)
        )
    unplanned = [s.store for s in content.stores if s.unplanned is not None]
    if unplanned:
        text = words.counted("review.risk_unplanned", len(unplanned))
        items.append(_item(words, len(unplanned), text, unplanned))
    items += _findings(content.findings, _FIX, words)
    items += _anywhere(content.anywhere, words)
    return items


def _findings(findings: Iterable[Found], severity: str, words: Wording) -> Iterator[Item]:
    """Yield the findings of a grade by rule, most of them first."""
    meant = [f for f in findings if f.severity == severity]
    counts = Counter((f.rule, f.title) for f in meant)
    for (rule, title), count in sorted(counts.items(), key=lambda c: (-c[1], c[0])):
        stores = [f.store for f in meant if f.rule == rule]
        text = words("review.risk_finding", title=title, n=words(f"severity.{severity}"))
        yield _item(words, count, text, stores, grave=severity == _STOP)


def _anywhere(findings: Iterable[Found], words: Wording) -> Iterator[Item]:
    """Yield the findings that concern no one store, by rule."""
    found = list(findings)
    for rule, title in dict.fromkeys((f.rule, f.title) for f in found):
        subjects = [f.subject for f in found if f.rule == rule]
        text = words("review.risk_anywhere", title=title)
        yield Item(words.number(len(subjects)), text, _named(words, subjects))


def _item(
    words: Wording, count: int, text: str, stores: Iterable[str], *, grave: bool = False
) -> Item:
    ranked = sorted(Counter(stores).items(), key=lambda pair: (-pair[1], pair[0]))
    return Item(words.number(count), text, _named(words, [s for s, _ in ranked]), grave)


def _named(words: Wording, names: list[str]) -> str:
    """Return the first of some names, and how many more there are."""
    shown = ", ".join(names[:_NAMED])
    rest = len(names) - _NAMED
    return shown if rest <= 0 else words("review.and_more", names=shown, n=words.number(rest))


def verdict(content: RegionContent, words: Wording) -> str:
    """Return the review in a few sentences: how far, is it helping, what waits."""
    parts = [_how_far(content, words)]
    if content.promises:
        was, promised, measured = promise_means(content)
        parts.append(
            words.counted(
                "review.helping",
                len(content.promises),
                was=words.percent(was),
                measured=words.percent(measured),
                promised=words.percent(promised),
            )
        )
    waiting = len(content.pending) + content.count(Progress.UNPUT)
    if waiting:
        parts.append(words.counted("review.waiting", waiting))
    return " ".join(parts)


def _how_far(content: RegionContent, words: Wording) -> str:
    if not content.changes:
        return words("review.nothing_to_change")
    stores = sum(bool(s.done) for s in content.stores)
    concerned = sum(bool(s.changes) for s in content.stores)
    if not content.done:
        return words.counted("review.not_begun", content.changes, stores=words.number(concerned))
    return words.counted(
        "review.how_far", content.done, all=words.number(content.changes),
        stores=words.number(stores), concerned=words.number(concerned),
    )  # fmt: skip


def promise_means(content: RegionContent) -> tuple[float, float, float]:
    """Return mean clear air before, promised and measured over the measured changes."""
    count = len(content.promises)
    return (
        sum(p.was for p in content.promises) / count,
        sum(p.promised for p in content.promises) / count,
        sum(p.measured for p in content.promises) / count,
    )
