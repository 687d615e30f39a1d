"""Read what the reviews of regions say."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, TypeVar

from pipeline.database import Database
from pipeline.effect.compare import own_weight, update_costs
from pipeline.effect.gather import CHAIN, TERMS, Rollout, proofs
from pipeline.records import Inputs, Seal
from pipeline.report.region import content
from pipeline.report.region.wanted import StoreToScan, ToAsk, ToOrder
from pipeline.report.rule_book import RuleBook, rule_book
from pipeline.settings import Deadline, Settings
from pipeline.wording import wording

Line = TypeVar("Line", bound=content.OfRegion)
_LINES: Mapping[str, tuple[type[content.OfRegion], str]] = {
    "stores": (content.StoreLine, "region_stores"),
    "steps": (content.DayOfChanges, "region_days"),
    "promises": (content.MeasuredChange, "region_promises"),
    "pending": (content.PendingChange, "region_pending"),
    "late": (content.LateChange, "region_late"),
    "otherwise": (content.ChangeOtherwise, "region_otherwise"),
    "astray": (content.Astray, "region_astray"),
    "findings": (content.FindingLine, "region_findings"),
    "expiring": (content.ExpiringException, "region_exceptions"),
    "joined": (content.JoinedStores, "region_next_door"),
    "scans": (StoreToScan, "region_scans"),
    "orders": (ToOrder, "region_orders"),
    "requests": (ToAsk, "region_requests"),
}
"""The rows of a review, by its field: what each is, and the statement that reads them."""
_NO_REGION = ""  # what is of no one region, beside the chain, which is of all
_EMPTY = content.RegionContent(
    region="", as_of=date.min, stores=(), steps=(), promises=(), pending=(), late=(), otherwise=(),
    astray=(), findings=(), anywhere=(), expiring=(), deadlines=(), seal=None,
)  # fmt: skip


def region_contents(
    database: Database, settings: Settings, regions: Sequence[str]
) -> Iterator[content.RegionContent]:
    """Yield the contents of the named regions, in ascending order of their names.

    `CHAIN` as a name asks for that of the chain, which comes first.
    """
    of: dict[str, Mapping[str, tuple[Any, ...]]] = {
        field: _read(database, kind, name) for field, (kind, name) in _LINES.items()
    }
    inputs = {
        one.region: Inputs(one.files, one.digest)
        for one in database.records(content.RegionInputs, "report", "region_inputs")
    }
    if told := database.records(Inputs, "report", "chain_inputs"):
        inputs[CHAIN] = told[0]
    seals = _read(database, content.RegionSeal, "region_seals")
    book = rule_book(database)
    rollout = Rollout(database, [w.name for w in settings.schedule.waves], settings.limits)
    named = sorted(set(of["stores"]) - {CHAIN, _NO_REGION})
    proved = proofs(rollout, named if CHAIN in regions else regions)
    costs = update_costs(TERMS, rollout.burdens)
    whole = replace(
        _EMPTY,
        as_of=database.value("report", "day"),
        anywhere=of["findings"][_NO_REGION],
        costs=costs,
        offer=own_weight(rollout.burdens) if costs else None,
        approvers=settings.approvers,
    )

    def part(region: str, fields: Iterable[str]) -> content.RegionContent:
        lines: dict[str, Any] = {field: of[field][region] for field in fields}
        return replace(whole, region=region, proof=proved[region], **lines)

    for region in sorted(regions):
        found = part(region, _LINES)
        found = replace(
            found,
            expiring=(*found.expiring, *of["expiring"][_NO_REGION]),
            seal=_latest(seals[region]),
            inputs=inputs.get(region),
            deadlines=_deadlines(settings.schedule.deadlines, region, found.stores),
            chain=None if region == CHAIN else proved[CHAIN],
            scans=tuple(_best_first(found.scans)),
        )
        if region == CHAIN:
            parts = tuple(part(one, ("stores", "promises")) for one in named)
            found = replace(found, parts=parts, steps=_by_day(found.steps))
        yield _worded(found, book)


def _read(database: Database, kind: type[Line], name: str) -> Mapping[str, tuple[Line, ...]]:
    """Return rows by region: of the chain all those of a region, apart those of none."""
    found: dict[str, list[Line]] = defaultdict(list)
    for line in database.records(kind, "report", name):
        found[line.region].append(line)
    nowhere = found.pop(content.ANYWHERE, [])
    whole = [line for region in sorted(found) for line in found[region]]
    every = {**found, CHAIN: whole, _NO_REGION: nowhere}
    return defaultdict(tuple, {region: tuple(lines) for region, lines in every.items()})


def _by_day(steps: Sequence[content.DayOfChanges]) -> tuple[content.DayOfChanges, ...]:
    """Return the steps of several regions as those of one."""
    counts: Counter[tuple[date, bool]] = Counter()
    for step in steps:
        counts[step.day, step.done] += step.count
    return tuple(
        content.DayOfChanges(CHAIN, day, done, count)
        for (day, done), count in sorted(counts.items())
    )


def _best_first(scans: Sequence[StoreToScan]) -> Iterator[StoreToScan]:
    """Yield the stores to scan, that worth most per visit first, with the visits up to each."""
    so_far = 0
    for one in sorted(scans, key=lambda each: (-each.worth, each.store)):
        so_far += one.visits
        yield replace(one, so_far=so_far)


def _latest(seals: Sequence[content.RegionSeal]) -> Seal | None:
    """Return the latest seal of some regions."""
    found = max(seals, key=lambda one: one.size, default=None)
    return None if found is None else Seal(found.size, found.root, found.as_of)


def _worded(review: content.RegionContent, book: RuleBook) -> content.RegionContent:
    """Return a review with its findings in the region's language."""
    words = wording(review.country)

    def told(found: content.FindingLine) -> content.FindingLine:
        detail = book.sentence(found.rule, words, found.facts, found.detail)
        return replace(found, detail=detail, title=book.title(found.rule, words.language))

    findings, anywhere = map(told, review.findings), map(told, review.anywhere)
    return replace(review, findings=tuple(findings), anywhere=tuple(anywhere))


def _deadlines(
    deadlines: Sequence[Deadline], region: str, stores: Sequence[content.StoreLine]
) -> tuple[content.OpenDeadline, ...]:
    """Return the deadlines of a region with changes still open, the earliest first."""
    found = []
    for deadline in sorted(deadlines, key=lambda d: (d.by, d.store or "")):
        if region != CHAIN and deadline.region not in {None, region}:
            continue
        meant = [s for s in stores if deadline.store in {None, s.store}]
        meant = [s for s in meant if deadline.region in {None, s.region}]
        left = sum(s.open for s in meant)
        if left:
            total = sum(s.changes for s in meant)
            of = deadline.store or (deadline.region if region == CHAIN else None)
            found.append(content.OpenDeadline(deadline.by, deadline.reason, of, left, total))
    return tuple(found)
