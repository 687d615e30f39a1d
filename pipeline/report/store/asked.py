"""What to order and whom to ask: places for further stations, and changes of Wi-Fi, in words."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import zip_longest

from pipeline.report.kit.column import Look, SheetColumn, Value, worded
from pipeline.tables.plan import CoverPlace, CoverStore, WifiAvoid, WifiRequest
from pipeline.wording import Wording

MIDDLE = " / "  # between the two stations that a place lies between


@dataclass(frozen=True, slots=True)
class CoverTerms:
    """What places are judged by: the weak level, and the share of labels that should be above it.

    The minutes are what a team takes for a further station, and for a move.
    """

    store: str
    level_dbm: float
    wanted: float
    install_minutes: float
    move_minutes: float


@dataclass(frozen=True, slots=True)
class StoreNeeds:
    """What no channel settles in a store: labels too weak, places, and Wi-Fi to be changed."""

    cover: CoverStore | None = None
    places: tuple[CoverPlace, ...] = ()
    requests: tuple[WifiRequest, ...] = ()
    avoid: tuple[WifiAvoid, ...] = ()
    terms: CoverTerms | None = None

    @property
    def needed(self) -> bool:
        """Whether there is anything to order or to ask."""
        return bool(self.places or self.requests)

    @property
    def wifi(self) -> tuple[WifiRequest | WifiAvoid, ...]:
        """What is asked of Wi-Fi, and whose can only be avoided."""
        return (*self.requests, *self.avoid)


NO_NEEDS = StoreNeeds()


def where(place: CoverPlace, words: Wording) -> str:
    """Return where a place is, in words."""
    if place.kind == "middle":
        one, other = place.place.split(MIDDLE, 1)
        said = words("needed.between", one=one, other=other)
    else:
        said = words("needed.at", place=place.place)
    at = {"floor": place.floor, "x": words.number(place.x_m, 1), "y": words.number(place.y_m, 1)}
    return words("needed.position", place=said, **at)


def place_line(place: CoverPlace, weak: int, level_dbm: float, words: Wording) -> str:
    """Return what to do at a place: order, or measure first, or nothing."""
    return words(
        f"needed.{place.verdict}",
        place=where(place, words),
        labels=words.number(place.rescued),
        low=words.number(place.rescued_low),
        high=words.number(place.rescued_high),
        weak=words.number(weak),
        level=words.level(level_dbm),
        channel=words.channel(place.channel),
    )


def change_line(one: WifiRequest, words: Wording) -> str:
    """Return what to ask of whoever runs the Wi-Fi; of whom that is not known, to find out."""
    change = words(
        f"needed.{one.what}",
        networks=one.networks,
        channel=one.wifi_channel,
        to=one.to_channel,
        width=one.to_width_mhz,
        less=words.number(one.less_db),
    )
    return words("needed.whose", change=change) if one.own is None else change


def request_line(one: WifiRequest, words: Wording) -> str:
    """Return what to ask of whoever runs the Wi-Fi, and what that gives back."""
    gives = words(
        "needed.gives",
        gain=words.points(one.plan_gives),
        low=words.points(one.plan_gives_low),
        high=words.points(one.plan_gives_high),
    )
    then = words("needed.then", channels=one.channels) if one.channels else ""
    return " ".join(filter(None, (f"{change_line(one, words)}: {gives}.", then)))


def asked_lines(needs: StoreNeeds, moves: int, gain: float | None, words: Wording) -> Iterator[str]:
    """Yield what to order and whom to ask, the best of both first; then what that rests on."""
    asks = (request_line(one, words) for one in needs.requests)
    for pair in zip_longest(_place_lines(needs, words), asks):
        yield from filter(None, pair)
    yield from _cover_lines(needs, words)
    terms = needs.terms
    worth = any(place.verdict != "no" for place in needs.places)
    if terms and gain is not None and gain > 0 and moves and worth:
        yield words(
            "needed.price",
            gain=words.points(gain),
            minutes=words.number(moves * terms.move_minutes),
            install=words.number(terms.install_minutes),
        )
    if needs.avoid:
        names = ", ".join(one.network for one in needs.avoid)
        yield words("needed.avoid", networks=names)


def _place_lines(needs: StoreNeeds, words: Wording) -> Iterator[str]:
    if needs.cover is not None and needs.terms is not None:
        weak, level_dbm = needs.cover.weak_labels, needs.terms.level_dbm
        for place in needs.places:
            yield place_line(place, weak, level_dbm, words)


def _cover_lines(needs: StoreNeeds, words: Wording) -> Iterator[str]:
    cover, terms = needs.cover, needs.terms
    if cover is None or terms is None or cover.why == "enough":
        return
    level = words.level(terms.level_dbm)
    told = {"weak": words.number(cover.weak_labels), "labels": words.number(cover.labels)}
    if cover.why is not None:
        yield words(f"needed.why_{cover.why.replace('-', '_')}", level=level, **told)
        return
    shares = {"share": words.percent(cover.share_then), "wanted": words.percent(terms.wanted)}
    yield words("needed.weak", level=level, **told)
    if cover.places is None:
        yield words("needed.not_enough", **shares)
    else:
        yield words.counted("needed.fewest", cover.places, **shares)


def summary_lines(needs: StoreNeeds, words: Wording) -> list[tuple[str, str]]:
    """Return what the workbook's first sheet says of labels and places, as label and value."""
    lines = [*_cover_lines(needs, words), *_place_lines(needs, words)]
    if not lines:
        return []
    return [(words("needed.title_labels"), " ".join(lines))]


Row = WifiRequest | WifiAvoid


def _ask(row: Row, words: Wording) -> Value:
    if isinstance(row, WifiAvoid):
        return words("needed.only_avoid", network=row.network)
    return change_line(row, words)


def _of(name: str) -> Callable[[Row, Wording], Value]:
    """Return a reader of a field that rows of the other kind do not have."""

    def read(row: Row, _: Wording) -> Value:
        value: Value = getattr(row, name, None)
        return value

    return read


def _points(name: str) -> Callable[[Row, Wording], Value]:
    """Return a reader of clear air given back, in points with its interval."""

    def read(row: Row, words: Wording) -> Value:
        if isinstance(row, WifiAvoid):
            return None
        ends = {end: words.points(getattr(row, name + key)) for end, key in _ENDS.items()}
        return words("needed.points", **ends)

    return read


def _whose(row: Row, words: Wording) -> Value:
    if isinstance(row, WifiAvoid):
        return words("needed.others")
    return words("needed.own" if row.own else "needed.unknown")


_ENDS = {"gain": "", "low": "_low", "high": "_high"}
PLACES: tuple[SheetColumn[CoverPlace], ...] = (
    SheetColumn("rank", Look.COUNT, "column.order"),
    SheetColumn(where, Look.LONG, "needed.column_place", 40),
    SheetColumn(worded("place_kind", "kind"), Look.LONG, "needed.column_kind", 18),
    SheetColumn(worded("place_verdict", "verdict"), Look.LONG, "needed.column_verdict", 26),
    SheetColumn("rescued", Look.COUNT, "needed.column_rescued"),
    SheetColumn("rescued_low", Look.COUNT, "needed.column_low"),
    SheetColumn("rescued_high", Look.COUNT, "needed.column_high"),
    SheetColumn("reach_m", Look.LEVEL, "needed.column_reach"),
    SheetColumn("channel", Look.COUNT, "column.channel"),
    SheetColumn("air_lost", Look.PERCENT, "needed.column_air"),
)
REQUESTS: tuple[SheetColumn[Row], ...] = (
    SheetColumn(_of("rank"), Look.COUNT, "column.order"),
    SheetColumn(_whose, Look.TEXT, "needed.column_whose"),
    SheetColumn(_ask, Look.LONG, "needed.column_ask", 44),
    SheetColumn(_points("plan_gives"), Look.LONG, "needed.column_plan", 20),
    SheetColumn(_of("channels"), Look.LONG, "needed.column_then", 30),
    SheetColumn(_points("gives"), Look.LONG, "needed.column_gives", 20),
    SheetColumn(_of("costs"), Look.PERCENT, "needed.column_costs"),
    SheetColumn(_of("loudest_dbm"), Look.LEVEL, "needed.column_loudest"),
    SheetColumn(_of("stations"), Look.COUNT, "needed.column_stations"),
)
