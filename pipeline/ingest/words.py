"""What headings say, in one form without marks and accents; what the values below look like."""

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from ipaddress import ip_address
from types import MappingProxyType
from unicodedata import normalize

from pipeline.errors import HeadingFieldUnknown
from pipeline.phrases import plain_style, told_of
from pipeline.tables import cells
from pipeline.tables.cells import hardware_address, said_unit
from pipeline.tables.declare import CellForm, ExportField
from pipeline.tables.exports import lesser_words

HEADING_MOST = 80  # characters

_ACCENTS = re.compile("[\u0300-\u036f]")  # of letters, not the sounding marks of kana
_BETWEEN = re.compile(r"[\s_\-.\[\]()#:/?\u2019'\u00a0\ufeff]+")
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
LESSER = lesser_words()
"""Words that join others or say that it is a key, and those of a mean, maximum or minimum."""
CHANNEL_FIELDS: Mapping[int, str] = MappingProxyType({c: f"c{c}" for c in range(11, 27)})
"""Fields of the columns, one per channel, of an export with one scan per row."""
_CHANNEL = re.compile(
    r"(?:(?:ed )?(?:ed|ch|channel|kanal|kan|c|canal|canale|kanaal|チャネル|チャンネル)"
    r"|dbm|levels?|rssi|energy)? ?(\d\d)|(24\d\d) ?mhz"
)
CHANNELS_LEAST = 2
"""Columns of channels that make a file one scan per row."""
READINGS = "ed_readings"
LEFT_ASIDE = "none"
"""What the rules file says of a heading that stands for no field."""
KEYS = frozenset({"store", "station", "label", "network", "neighbour", "channel", "wifi_channel"})
"""Fields of which headings may say `no`, `id` or `code` besides."""
_MOST_ODD = 0.1  # share of the values that may look otherwise: blanks of the file's own kind
_NUMBER = re.compile(r"[-+\u2212]?\d+(?:[.,]\d+)?")
_DAY = r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}|20\d{6})"
_TIME = r"\d{1,2}[:.h]\d{2}(?:[:.]\d{2}(?:[.,]\d+)?)?"
_ZONE = r"(?:Z| ?[-+]\d{2}:?\d{2}| UTC)?"
_DAYS = re.compile(_DAY)
_MOMENTS = re.compile(rf"{_DAY}[T ]+{_TIME}(?: ?[AP]M)?{_ZONE}|1\d{{9}}(?:\d\d\d)?", re.IGNORECASE)
_HEX = re.compile(r"(?:0x)?[0-9a-f]{4}", re.IGNORECASE)
_FLAGS = frozenset(
    (
        *("yes", "no", "y", "n", "true", "false", "1", "0", "on", "off", "online", "offline"),
        *("ja", "nein", "oui", "non", "sí", "si", "sì", "tak", "nie", "nee", "はい", "いいえ"),
        *("connected", "disconnected", "up", "down", "有", "無"),
    )
)


@lru_cache(maxsize=32768)
def core(folded: str, *, key: bool) -> str:
    """Return the words that matter of a folded heading, in one order; of a `key` not `no` or `id`.

    `Survey date` and `Date of survey` are alike, `Store no.` and `Code of the store`.
    """
    left_out = LESSER["joining"] | (LESSER["key"] if key else frozenset())
    return " ".join(sorted(word for word in folded.split() if word not in left_out))


def spelt(heading: str) -> str:
    """Return a heading of one word in `camelCase` as words: `storeId` as `store Id`."""
    plain = heading.replace("dBm", "dbm")
    return heading if " " in heading.strip() else _CAMEL.sub(" ", plain)


@lru_cache(maxsize=32768)
def fold(heading: str) -> str:
    """Return a heading in lower case without accents, a blank for any blanks and `_-.[]()#:/?°`."""
    parts = normalize("NFKD", heading.casefold().replace("ł", "l").replace("°", " "))
    return _BETWEEN.sub(" ", _ACCENTS.sub("", parts)).strip()


def cores(words: Mapping[str, str]) -> dict[str, str]:
    """Return the field of each heading's core; none where a core stands for two."""
    found: dict[str, str] = {}
    rivals: set[str] = set()
    for word, field in words.items():
        for words_left in {core(word, key=False), core(word, key=field in KEYS)}:
            if words_left and found.setdefault(words_left, field) != field:
                rivals.add(words_left)
    return {each: field for each, field in found.items() if each not in rivals}


def unique(cells: Sequence[str]) -> list[str]:
    """Return headings of which no two are the same, and none is empty."""
    names: list[str] = []
    for place, cell in enumerate(cells):
        name = cell.strip() or f"column {place + 1}"
        names.append(name if name not in names else f"{name} ({place + 1})")
    return names


@dataclass(frozen=True, slots=True)
class TableRefused:
    """Why a whole table cannot be taken and what to do: facts as JSON, for the texts of `problem`.

    Each language has its sentences; `reason` and `advice` are the English ones.
    """

    faults: str

    @classmethod
    def of(cls, problem: str, **values: object) -> "TableRefused":
        """Return a refusal by the problem's name and the values of its sentences."""
        return cls(json.dumps([{"problem": problem, **values}], ensure_ascii=False))

    def also(self, problem: str, **values: object) -> "TableRefused":
        """Return the refusal with something more to say."""
        more = {"problem": problem, **values}
        return TableRefused(json.dumps([*json.loads(self.faults), more], ensure_ascii=False))

    @property
    def reason(self) -> str:
        """What is wrong."""
        return told_of(self.faults, plain_style(), "says")

    @property
    def advice(self) -> str:
        """What to do."""
        return told_of(self.faults, plain_style(), "do")


def listed(cells: Sequence[str], most: int = 30) -> str:
    """Return cells in quotes for a sentence, no more than `most`."""
    shown, more = shortened(cells, most)
    text = ", ".join(f"'{cell}'" for cell in shown) or "nothing"
    return text + (f" and {more} more" if more else "")


def shortened(cells: Sequence[str], most: int = 30) -> tuple[list[str], int]:
    """Return the first cells that hold anything, in brief, and how many more there are."""
    shown = [" ".join(cell.split())[:60] for cell in cells if cell.strip()]
    return shown[:most], max(0, len(shown) - most)


def escaped(text: str) -> str:
    r"""Return a heading as it stands between the quotes of a basic string of TOML 1.0."""
    marked = text.replace("\\", "\\\\").replace('"', '\\"')
    return re.sub(r"[\x00-\x1f\x7f]", lambda found: f"\\u{ord(found[0]):04X}", marked)


def left_aside(kind: str, cells: Sequence[str]) -> str:
    """Return the lines of the rules file that leave columns aside."""
    lines = (f'"{escaped(cell.strip())}" = "{LEFT_ASIDE}"' for cell in cells)
    return "\n".join((f"[headings.{kind}]", *lines))


def channel_field(folded: str) -> str | None:
    """Return the field of a channel's own column by its folded heading, also of its frequency.

    IEEE 802.15.4: channel k is at 2405 + 5 (k - 11) MHz.
    """
    match = _CHANNEL.fullmatch(folded)
    if match and match[2]:
        place, rest = divmod(int(match[2]) - 2405, 5)
        return None if rest else CHANNEL_FIELDS.get(11 + place)
    return CHANNEL_FIELDS.get(int(match[1])) if match else None


def is_channel(field: str) -> bool:
    """Say whether a field is that of a channel's own column."""
    return field in CHANNEL_FIELDS.values()


def keyed_by_name(known: Mapping[int, str], cells: Sequence[str]) -> dict[int, str]:
    """Return what headings of stations stand for: the name is the key where nothing else can be.

    That is, where no column is the key, every other heading is known, one of them the store's, and
    it is a station's for sure.
    """
    every = all(place in known for place, cell in enumerate(cells) if cell.strip())
    if not every or "station" in known.values() or "store" not in known.values():
        return dict(known)
    return {
        place: "station" if field == "name" and names_station(cells[place]) else field
        for place, field in known.items()
    }


def told_apart(kind: str, known: Mapping[int, str], cells: Sequence[str]) -> dict[int, str]:
    """Return what headings stand for where what stands beside them decides it."""
    if kind == "stations":
        return keyed_by_name(known, cells)
    return site_beside_store(known, cells) if kind == "stores" else dict(known)


def site_beside_store(known: Mapping[int, str], cells: Sequence[str]) -> dict[int, str]:
    """Return what headings of stores stand for: of a `site` beside the store's key, the site."""
    keys = [place for place, field in known.items() if field == "store"]
    sites = [place for place in keys if fold(cells[place]) in LESSER["site"]]
    shared = len(keys) > len(sites) == 1 and "site" not in known.values()
    return {**known, sites[0]: "site"} if shared else dict(known)


def names_station(heading: str) -> bool:
    """Say whether a heading is of a station's name for sure, not of just any name."""
    return fold(heading) in LESSER["station_name"]


def weight(known: Mapping[int, str]) -> int:
    """Return how many fields are known.

    The columns of channels count as one: rows of data hold bare numbers too.
    """
    fields = set(known.values())
    channels = set(filter(is_channel, fields))
    return len(fields - channels) + (len(channels) >= CHANNELS_LEAST)


def checked(kind: str, own: Mapping[str, str], known: Sequence[str]) -> dict[str, str]:
    """Return the rules file's headings, folded; each must stand for a field of the kind."""
    channels = tuple(CHANNEL_FIELDS.values()) if kind == READINGS else ()
    for heading, field in own.items():
        if field not in (*known, *channels, LEFT_ASIDE):
            raise HeadingFieldUnknown(kind, heading, field, known)
    return {fold(heading): field for heading, field in own.items()}


def words_of(fields: Sequence[ExportField]) -> dict[str, str]:
    """Return the field of every heading, folded."""
    return {fold(word): f.name for f in fields for word in (*f.headings, *f.words)}


def units_of(fields: Sequence[ExportField]) -> dict[str, tuple[str, ...]]:
    """Return the units that the headings of each field may end in."""
    return {field.name: field.units for field in fields if field.units is not None}


def nearest_match(cells: Sequence[str], every: Sequence[str]) -> tuple[str | None, str | None]:
    """Return the first cell that is nearly one of `every` heading, and that heading."""
    near = (
        (cell.strip(), close[0])
        for cell in cells
        if fold(cell) not in every
        if (close := get_close_matches(fold(cell)[:HEADING_MOST], every, n=1, cutoff=0.75))
    )
    return next(near, (None, None))


def uneven_units(units: Mapping[str, str]) -> TableRefused | None:
    """Refuse fields that belong together of which only some have a unit."""
    for what, together in (("channels", CHANNEL_FIELDS.values()), ("positions", ("x_m", "y_m"))):
        met = {unit for field, unit in units.items() if field in together}
        if len(met) > 1 and (what == "channels" or ("" in met and met != {"", "m"})):
            first, *others = (said_unit(unit) or None for unit in sorted(met))
            return TableRefused.of("units-uneven", what=what, unit=first, others=others)
    return None


def looks_like(values: Sequence[str], form: CellForm) -> bool:
    """Say whether nine in ten of a column's filled values look like a form's, and there are any.

    Of a form with no look of its own, such as a text, that says nothing: it is never so.
    """
    filled = [value.strip() for value in values if value.strip()]
    test = _LOOKS.get(form.name)
    if not filled or test is None:
        return False
    odd = sum(not test(value) for value in filled)
    return odd <= _MOST_ODD * len(filled)


def unit_of_values(values: Sequence[str], form: CellForm) -> str:
    """Return the unit that values show beyond doubt, where a heading leaves it out; or nothing.

    Shares are in percent where a sign says so, or one is above 1; powers where all say dBm.
    """
    filled = [value.strip().casefold() for value in values if value.strip()]
    if form in (cells.LEVEL, cells.READING) and looks_like(values, cells.LEVEL):
        return "dBm"
    if form is cells.PERCENT and looks_like(values, form):
        return "%" if any("%" in value or (_number(value) or 0) > 1 for value in filled) else ""
    if form is cells.POWER and filled and all(value.endswith("dbm") for value in filled):
        return "dBm"
    widths = {re.sub(r" ?mhz$", "", value) for value in filled}
    return "MHz" if form is cells.WIDTH and widths and widths <= {"20", "22", "40"} else ""


def contradicts(values: Sequence[str], form: CellForm) -> bool:
    """Say whether a column's filled values rule out a form that has a look of its own."""
    filled = any(value.strip() for value in values)
    return filled and form.name in _LOOKS and not looks_like(values, form)


def _number(text: str) -> float | None:
    bare = re.sub(r" ?(?:dBm|%|MHz)$", "", text, flags=re.IGNORECASE)
    if not _NUMBER.fullmatch(bare):
        return None
    return float(bare.replace(",", ".").replace("\u2212", "-"))


def _between(least: float, most: float) -> Callable[[str], bool]:
    def test(text: str) -> bool:
        number = _number(text)
        return number is not None and least <= number <= most

    return test


def _is_channel(text: str) -> bool:
    number = re.fullmatch(r"(?:ch(?:annel)?|kanal)? ?(\d\d)(?: \(.*\))?", text, re.IGNORECASE)
    if number:
        return 11 <= int(number[1]) <= 26  # noqa: PLR2004 - IEEE 802.15.4, the band at 2.4 GHz
    sixteen = re.fullmatch(r"0x(0?[b-f]|1[0-9a])", text, re.IGNORECASE)
    return bool(sixteen or re.fullmatch(r"24\d\d ?MHz", text, re.IGNORECASE))


def _is_address(text: str) -> bool:
    """Say whether it is an address in full: 2.4 may stand for one, and looks like a number."""
    try:
        ip_address(text)
    except ValueError:
        return False
    return True


def _whole(text: str) -> bool:
    return text.isdecimal()


_LOOKS: Mapping[str, Callable[[str], bool]] = MappingProxyType(
    {
        cells.CHANNEL.name: _is_channel,
        cells.WIFI_CHANNEL.name: _between(1, 14),
        cells.LEVEL.name: _between(-128, -15),
        cells.READING.name: _between(-128, -15),
        cells.PERCENT.name: _between(0, 100),
        cells.EUI64.name: lambda text: hardware_address(text) is not None,
        cells.IP_ADDRESS.name: _is_address,
        cells.PAN_ID.name: lambda text: _HEX.fullmatch(text) is not None or _whole(text),
        cells.DAY.name: lambda text: _DAYS.fullmatch(text) is not None,
        cells.MOMENT.name: lambda text: _MOMENTS.fullmatch(text) is not None,
        cells.FLAG.name: lambda text: text.casefold() in _FLAGS,
    }
)
