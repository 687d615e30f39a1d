"""The 2.4 GHz band as a strip: the Wi-Fi seen, with the 802.15.4 channels drawn over it.

Centres: IEEE 802.15.4, 2405 + 5 (k - 11) MHz; IEEE 802.11, 2407 + 5 n MHz, channel 14 at 2484.
"""

from collections.abc import Iterator, Sequence
from math import inf

from pipeline.report import fonts, style
from pipeline.report.content import StoreContent, Wifi
from pipeline.report.fonts import Face
from pipeline.report.pen import TINY, TINY_MUTED, Align, Box, Pen, Type
from pipeline.report.wording import Wording

WIFI_H = 84.0  # points, the row of channel numbers included
_LABEL_ROWS, _LABEL_H = 3, 9.0
_NUMBERS_H = 13.0
_LEFT_MHZ, _RIGHT_MHZ = 2402.5, 2482.5  # half a spacing beyond channels 11 and 26
_CHANNEL_MHZ = 2.0  # what a channel occupies
_FAINT_DBM, _STRONG_DBM = -95.0, -35.0
_SKIRT_MHZ = 1.5
_NUMBER = Type(style.SMALL, Face.STRONG)


def centre_mhz(wifi: Wifi) -> float:
    """Return the middle of what a group of networks occupies, in MHz."""
    primary = 2484.0 if wifi.wifi_channel == 14 else 2407.0 + 5 * wifi.wifi_channel  # noqa: PLR2004 - the odd one out
    if wifi.width_mhz <= 22 or wifi.secondary not in ("above", "below"):  # noqa: PLR2004 - not bonded
        return primary
    return primary + (10 if wifi.secondary == "above" else -10)


def draw_wifi(pen: Pen, box: Box, grid: Box, content: StoreContent, words: Wording) -> None:
    """Draw the strip above the grid of channels; `box` has the room for its caption."""
    base = box.y + WIFI_H - _NUMBERS_H
    strip = Box(grid.x, box.y, grid.w, base - box.y)
    groups = sorted(content.wifi, key=lambda w: (-(w.strongest_dbm or -inf), w.wifi_channel))
    top = strip.y + _LABEL_ROWS * _LABEL_H + 4
    for group in reversed(groups):
        _hump(pen, Box(strip.x, top, strip.w, base - top), group)
    if groups:
        pen.text(box.x, base - 4, words("air.wifi"), TINY, width=grid.x - box.x - 6)
        _labels(pen, strip, groups, words)
    else:
        middle = strip.x + strip.w / 2
        pen.text(middle, base - 20, words("air.no_wifi"), TINY_MUTED, align=Align.CENTRE)
    _channels(pen, Box(strip.x, base, strip.w, _NUMBERS_H), content.permitted)
    pen.text(box.x, base + 9.5, words("air.channel"), TINY, width=grid.x - box.x - 6)
    pen.line((strip.x, base), (strip.right, base), style.INK, 0.6)


def _x(strip: Box, mhz: float) -> float:
    inside = min(max(mhz, _LEFT_MHZ), _RIGHT_MHZ)
    return strip.x + strip.w * (inside - _LEFT_MHZ) / (_RIGHT_MHZ - _LEFT_MHZ)


def _hump(pen: Pen, area: Box, group: Wifi) -> None:
    level = _FAINT_DBM + 15 if group.strongest_dbm is None else group.strongest_dbm
    share = (level - _FAINT_DBM) / (_STRONG_DBM - _FAINT_DBM)
    top = area.bottom - area.h * min(max(share, 0.12), 1.0)
    middle, half = centre_mhz(group), group.width_mhz / 2
    pen.polygon(
        (
            (_x(area, middle - half), area.bottom),
            (_x(area, middle - half + _SKIRT_MHZ), top),
            (_x(area, middle + half - _SKIRT_MHZ), top),
            (_x(area, middle + half), area.bottom),
        ),
        style.WIFI,
        style.MUTED,
        0.5,
    )


def _labels(pen: Pen, strip: Box, groups: Sequence[Wifi], words: Wording) -> None:
    for row, x, text in _label_places(strip, groups, words):
        pen.text(x, strip.y + row * _LABEL_H + 7, text, TINY_MUTED)


def _label_places(
    strip: Box, groups: Sequence[Wifi], words: Wording
) -> Iterator[tuple[int, float, str]]:
    """Yield row, left edge and text of the labels that find room, strongest first."""
    taken: list[list[tuple[float, float]]] = [[] for _ in range(_LABEL_ROWS)]
    for group in groups:
        text = words.counted(
            "air.wifi_label",
            group.networks,
            channel=group.wifi_channel,
            level=words.level(group.strongest_dbm),
        )
        width = fonts.width(text, TINY_MUTED.face, TINY_MUTED.size)
        left = _x(strip, centre_mhz(group)) - width / 2
        left = min(max(left, strip.x), strip.right - width)
        for row in reversed(range(_LABEL_ROWS)):
            if all(left > end + 6 or left + width < start - 6 for start, end in taken[row]):
                taken[row].append((left, left + width))
                yield row, left, text
                break


def _channels(pen: Pen, box: Box, permitted: Sequence[int]) -> None:
    for column, channel in zip(box.split(16, 0.0), range(11, 27), strict=True):
        middle = column.x + column.w / 2
        half = column.w * _CHANNEL_MHZ / 5 / 2
        fill = style.PLANNED if channel in permitted else style.PAPER
        pen.rectangle(Box(middle - half, box.y - 16, 2 * half, 16), fill, style.INK, 0.4)
        pen.text(middle, box.y + 9.5, str(channel), _NUMBER, align=Align.CENTRE)
        if channel in permitted:
            pen.line((middle - 6, box.y + 11.5), (middle + 6, box.y + 11.5), style.INK, 0.9)
