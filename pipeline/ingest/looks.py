"""What the values of a column look like: whether they may be those of a field."""

import re
from collections.abc import Callable, Mapping, Sequence
from ipaddress import ip_address
from types import MappingProxyType

from pipeline.tables import cells
from pipeline.tables.cells import hardware_address
from pipeline.tables.declare import CellForm

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
