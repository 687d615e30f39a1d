"""Draw a sample of stations for an auditor, and keep what was found at them."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.database import Database
from pipeline.errors import NothingToSample
from pipeline.estimate.sampling import SampleStation, draw, size_for
from pipeline.fresh import fingerprint
from pipeline.originals import Original, keep_originals
from pipeline.tables.audit import AuditSample, SampledStation, SampleResult

_NAME = 10  # letters of a sample's name


@dataclass(frozen=True, slots=True)
class AgreedStation:
    """A station of which a channel is agreed, and what is."""

    region: str
    store: str
    station: str
    channel: int
    pan_id: str | None


def draw_sample(database: Database, wanted: float, seed: str | None = None) -> str:
    """Draw stations by region, enter them in the register and return the sample's name.

    The same draw from the same stations on the same day is the same sample.

    Args:
        database: with `this_run` set.
        wanted: how many, or, below 1, the share that none astray are to rule out.
        seed: from which anybody can draw it again; None: the name of the run.

    Raises:
        NothingToSample: nothing is agreed of any station.
    """
    agreed = {
        SampleStation(one.region, one.store, one.station): one
        for one in database.records(AgreedStation, "audit", "sample_from")
    }
    if not agreed:
        raise NothingToSample
    seed = seed if seed is not None else str(database.value("audit", "sample_seed"))
    size = min(len(agreed), size_for(wanted) if wanted < 1 else int(wanted))
    day = database.value("audit", "as_of")
    said = (repr(one) for one in agreed.values())
    name = fingerprint(seed, str(size), day.isoformat(), *said)[:_NAME]
    if name in database.column("audit", "samples_known"):
        return name
    regions = Counter(one.region for one in agreed)
    rows = [
        SampledStation(
            name, number, one.region, one.store, one.station, regions[one.region],
            agreed[one].channel, agreed[one].pan_id,
        )
        for number, one in enumerate(draw(list(agreed), size, seed), start=1)
    ]  # fmt: skip
    with database.transaction():
        database.put(AuditSample, [AuditSample(name, day, seed, len(agreed), len(rows))])
        database.put(SampledStation, rows)
    return name


def keep_results(
    database: Database, results: Sequence[SampleResult], originals: Sequence[Original]
) -> None:
    """Keep what auditors found, and the workbooks it came in."""
    with database.transaction():
        keep_originals(database, "workbook", originals)
        database.put(SampleResult, results)
