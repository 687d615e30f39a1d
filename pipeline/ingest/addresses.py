"""Hardware and network addresses in any common notation, brought to one."""

import polars as pl
from netaddr import EUI, AddrFormatError, IPAddress, mac_bare

from pipeline.database import Database

_EUI48_DIGITS = 12
_EUI64_DIGITS = 16


def hardware_address(written: str) -> str:
    """Return an EUI-64 or EUI-48 as lower-case hex digits; as written when it is neither."""
    bare = "".join(written.split()).removeprefix("0x").removeprefix("0X")
    digits = "".join(sign for sign in bare if sign not in ":-.")
    if len(digits) not in (_EUI48_DIGITS, _EUI64_DIGITS):
        return written
    try:
        int(digits, 16)
        address = EUI(digits, version=48 if len(digits) == _EUI48_DIGITS else 64)
    except (AddrFormatError, ValueError):
        return written
    if address.version == 48:  # noqa: PLR2004 - bits of an EUI-48
        address.dialect = mac_bare
        return str(address).lower()
    return f"{int(address):016x}"


def network_address(written: str) -> str:
    """Return an IP address in its usual form; as written when it is none."""
    try:
        return str(IPAddress(written.strip(), flags=0))
    except (AddrFormatError, ValueError, TypeError):
        return written


def tidy_addresses(database: Database) -> None:
    """Bring the addresses of the cleaned stations to one notation, so that they compare."""
    hardware = [row[0] for row in database.rows("ingest", "written_hardware")]
    network = [row[0] for row in database.rows("ingest", "written_network")]
    tidy = pl.DataFrame(
        {
            "written": [*hardware, *network],
            "kind": ["hardware"] * len(hardware) + ["network"] * len(network),
            "tidy": [*map(hardware_address, hardware), *map(network_address, network)],
        },
        schema={"written": pl.String, "kind": pl.String, "tidy": pl.String},
    )
    database.insert("ingest", "address_forms", tidy)
    database.run("ingest", "tidy_hardware")
    database.run("ingest", "tidy_network")
