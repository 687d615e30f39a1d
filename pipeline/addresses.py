"""Hardware and IP addresses as people write them; pure."""

import re

from netaddr import AddrFormatError, IPAddress

BLANKS = re.compile(r"[\s\u200b-\u200d\u2060\ufeff]+")
"""Blanks, and invisible characters of no width: these separate nothing, and people see neither."""
_HARDWARE = re.compile(r"[0-9a-f]{12}|[0-9a-f]{16}")


def ip_address(written: str) -> IPAddress | None:
    """Return the address, whatever its notation; none where the text is none."""
    try:
        return IPAddress(written, flags=0)
    except (AddrFormatError, ValueError, TypeError):
        return None


def hardware_address(key: str) -> str | None:
    """Return the lower-case hex digits of an EUI-48 or EUI-64 in any notation; else None.

    All digits 0, or all F, stand for no address.
    """
    digits = re.sub(r"[-:.]", "", BLANKS.sub("", key)).lower().removeprefix("0x")
    if not _HARDWARE.fullmatch(digits) or set(digits) in ({"0"}, {"f"}):
        return None
    return digits


def network_address(key: str) -> str | None:
    """Return an IP address in canonical form; None where it is none of one device."""
    address = ip_address(BLANKS.sub("", key)) if re.search(r"[.:]", key) else None
    if address is None or not int(address) or address.is_loopback():
        return None
    return str(address)
