"""Which labels followed a change of their station, and what updates they acknowledge since."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import date
from math import ceil

from pipeline.changes.effect import success_gain
from pipeline.database import Database
from pipeline.tables.changes import ChangeLabels, LabelBehind


@dataclass(frozen=True, slots=True)
class _Counted:
    """The labels of a change as counted; `error` is the standard error of the gain."""

    change: str
    store: str
    station: str
    since: date
    told_on: date | None
    labels_due: int
    labels_listed: int
    labels_back: int
    labels_unsaid: int
    labels_elsewhere: int
    labels_compared: int
    success_before: float | None
    success_after: float | None
    error: float | None


def follow(database: Database, interval: float) -> dict[str, ChangeLabels]:
    """Look for the labels of every change made; keep what was found, and return it by change.

    `interval` is the chance that an interval holds the truth, 0..1.
    """
    database.clear(ChangeLabels, LabelBehind)
    database.run("changes", "labels_span")
    database.run("changes", "hold_labels")
    database.run("changes", "followed")
    database.run("changes", "keep_behind")
    found = [_kept(one, interval) for one in database.records(_Counted, "changes", "label_changes")]
    database.release("label_matched", "followed", "labels_span")
    database.put(ChangeLabels, found)
    return {one.change: one for one in found}


def _kept(one: _Counted, interval: float) -> ChangeLabels:
    gained, low, high = success_gain(
        one.success_before, one.success_after, one.error, one.labels_compared, interval
    )
    counted = asdict(one)
    del counted["error"]
    return ChangeLabels(
        **counted, success_gained=gained, success_gained_low=low, success_gained_high=high
    )


def astray(
    labels: ChangeLabels | None, back_least: float, silent_after_days: float
) -> Iterator[str]:
    """Yield what is surely wrong with the labels of a change: too many silent, or elsewhere.

    What no export says of a label counts neither for nor against it, and so does what one says
    sooner after the change than `silent_after_days`. `back_least` is the share of them that must be
    back at their station, 0..1.
    """
    if labels is None or labels.told_on is None or not labels.labels_due:
        return
    if (labels.told_on - labels.since).days <= silent_after_days:
        return
    left = labels.labels_due - labels.missing - labels.labels_elsewhere
    if left / labels.labels_due < back_least:
        yield (
            f"of {labels.labels_due} labels {labels.missing} were not heard since the change and "
            f"{labels.labels_elsewhere} are served by other stations"
        )


def awaited(
    labels: ChangeLabels | None, served: int, back_least: float, verified_least: float
) -> Iterator[str]:
    """Yield what must still be known of its labels before a change counts as verified.

    `served` are those it served when it was proposed. Labels that the export no longer lists are
    taken for removed, unless more are gone than `back_least` allows: then the export is in doubt.
    """
    if not verified_least:
        return
    if labels is None or labels.told_on is None:
        if served or (labels is not None and labels.labels_due):
            yield "no labels export since the change"
        return
    due, listed, back = labels.labels_due, labels.labels_listed, labels.labels_back
    day = labels.told_on
    if not due:
        return
    if listed / due < back_least:
        yield f"the labels export of {day} lists {listed} of its {due} labels: export all of them"
    elif back / listed < verified_least:
        told = f"{back} of {listed} labels are back in the labels export of {day}"
        unsaid = f"; of {labels.labels_unsaid} it does not say when they were last heard"
        needed = ceil(round(verified_least * listed, 9))
        yield f"{told}{unsaid if labels.labels_unsaid else ''}, {needed} needed"


def said(labels: ChangeLabels | None) -> str:
    """Return how many labels are back, and how the share of updates they acknowledge changed."""
    if labels is None or not labels.labels_due:
        return ""
    back = f", {labels.labels_back} of {labels.labels_listed} labels back"
    if labels.success_after is None or labels.success_gained is None:
        return f"{back}, updates acknowledged not known"
    return f"{back}, updates acknowledged {labels.success_after:.1%}, {labels.success_gained:+.1%}"
