"""Folder names made from names in the data: nothing in an export can leave the reports folder."""

from collections import Counter
from collections.abc import Mapping, Sequence
from hashlib import sha256
from unicodedata import normalize

_LONGEST_OCTETS = 120  # of UTF-8; file systems take 255, temporary names and suffixes need some
_FORBIDDEN = frozenset('<>:"/\\|?*')
# Names that file systems of the day keep for devices, and names the reports folder itself uses.
_RESERVED = frozenset(
    (
        *("con", "prn", "aux", "nul", "conin$", "conout$", "audit", "review"),
        *(f"{device}{digit}" for device in ("com", "lpt") for digit in "0123456789¹²³"),
    )
)


def safe_names(names: Sequence[str]) -> Mapping[str, str]:
    """Return a folder name for each name, all different even where letter case does not count.

    A name that had to be changed, or that differs from another in letter case only, carries a
    mark made from the name itself, so that it stays the same from run to run.
    """
    distinct = sorted(set(names))
    cleaned = {name: _clean(name) for name in distinct}
    met = Counter(_folded(clean) for clean in cleaned.values())
    return {
        name: clean if clean == name and met[_folded(clean)] == 1 else _marked(clean, name)
        for name, clean in cleaned.items()
    }


def _clean(name: str) -> str:
    composed = normalize("NFC", name)
    kept = "".join("_" if c in _FORBIDDEN or not c.isprintable() else c for c in composed)
    short = _shortened(kept.strip(" ."), _LONGEST_OCTETS).strip(" .")
    if not short or short.split(".")[0].strip().lower() in _RESERVED:
        return f"_{short}"
    return short


def _marked(clean: str, name: str) -> str:
    return f"{clean}-{sha256(name.encode()).hexdigest()[:8]}"


def _shortened(text: str, octets: int) -> str:
    return text.encode()[:octets].decode(errors="ignore")


def _folded(name: str) -> str:
    return normalize("NFC", name.casefold())
