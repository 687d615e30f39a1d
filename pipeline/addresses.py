"""IP addresses as people write them; pure."""

from netaddr import AddrFormatError, IPAddress


def ip_address(written: str) -> IPAddress | None:
    """Return the address, whatever its notation; none where the text is none."""
    try:
        return IPAddress(written, flags=0)
    except (AddrFormatError, ValueError, TypeError):
        return None
