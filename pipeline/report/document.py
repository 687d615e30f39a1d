"""What every page of one store's summary needs to know."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from pipeline.report.content import StoreContent
from pipeline.report.short_names import short_names
from pipeline.report.wording import Wording, wording


@dataclass(frozen=True, slots=True)
class Document:
    """One store's content, its language, its short names, and the pages where lists go on."""

    content: StoreContent
    words: Wording
    names: Mapping[str, str]
    pages: Mapping[str, int] = field(default_factory=dict)

    def called(self, station: str) -> str:
        """Return a station's full name, its short name first where the full one lacks it."""
        short = self.names.get(station, station)
        return station if short in station else f"{short} · {station}"


def document(content: StoreContent) -> Document:
    """Return the document of one store in the language of its country."""
    names = short_names([station.station for station in content.stations])
    return Document(content, wording(content.store.country), names)
