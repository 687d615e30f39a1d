"""Unpack text files, and find their encoding and line ends in one pass and bounded memory.

Text may be packed with gzip (RFC 1952) or zstd (RFC 8878).
"""

import codecs
import gzip
import re
import zlib
from dataclasses import dataclass
from pathlib import Path

import duckdb
from charset_normalizer import from_bytes

from pipeline.ingest.delimited import LINE_LIMIT, TableUnreadable

_MOST = 8 << 30  # octets
_CHUNK = 1 << 20
_SAMPLE = 1 << 16
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Single-byte pages of Latin script, the commonest first.
_PAGES = ("cp1252", "cp1250", "iso8859_2", "cp1257", "cp1254", "cp850", "mac_roman")
_LOWER = "a-z\u00df-\u00f6\u00f8-\u00ff\u0105\u0107\u0119\u0142\u0144\u015b\u017a\u017c"
_ODD_INSIDE = re.compile(
    rf"[{_LOWER}][\u00c0-\u00de\u0160\u0178\u017d]|[^\W\d_][\u0080-\u00bf\u2000-\u2bff\u02c6-\u02dd][^\W\d_]"
    rf"|(?!\bm[\u00b2\u00b3])[{_LOWER}][\u00b2\u00b3\u00b9\u00b1\u00b6\u00bf\u00a1-\u00a6\u00a8\u00ac\u00ae\u00af\u02c6-\u02dd]"
)
_ALL_HIGH = re.compile(r"[\u0080-\uffff]{4,}")
_ODD_BLANKS = (b"\xc2\xa0", b"\xe2\x80\xaf")
_REPLACED = "\ufffd".encode()
_NUL_SHARE = 0.2
_MULTIBYTE = re.compile(rb"[\xc2-\xf4][\x80-\xbf]+")


def unpacked(path: Path, out: Path) -> Path:
    """Write what a packed text holds to `out` and return that.

    Raises:
        TableUnreadable: it is damaged, or unpacks to more than exports ever do.
    """
    try:
        if path.suffix.lower() == ".gz":
            _gzip(path, out)
        else:
            _zstd(path, out)
    except (OSError, EOFError, zlib.error, duckdb.Error) as error:
        raise TableUnreadable("packed-damaged", why=str(error)[:200]) from error
    return out


def _gzip(path: Path, out: Path) -> None:
    with gzip.open(path) as source, out.open("wb") as target:
        size = 0
        while chunk := source.read(_CHUNK):
            size += len(chunk)
            if size > _MOST:
                raise TableUnreadable("packed-large")
            target.write(chunk)


def _zstd(path: Path, out: Path) -> None:
    """Unpack by way of DuckDB, line by line: UTF-8 without control characters."""
    with duckdb.connect() as connection:
        lines = connection.read_csv(
            str(path), header=False, columns={"line": "VARCHAR"}, auto_detect=False,
            delimiter="\x1f", quotechar="", escapechar="", compression="zstd",
            max_line_size=LINE_LIMIT,
        )  # fmt: skip
        lines.write_csv(str(out), header=False, sep="\x1f", quotechar="", escapechar="")


@dataclass(frozen=True, slots=True)
class TextFacts:
    """What one pass over a text file shows.

    `lines` counts line feeds up to the last row. `suspect`: it holds NULs, or bytes that are no
    characters. `odd_blanks`: it may hold tabs or no-break spaces.
    """

    encoding: str
    size: int
    lines: int
    lone_returns: bool
    suspect: bool
    odd_blanks: bool

    @property
    def is_utf8(self) -> bool:
        """Whether it can be read as it is."""
        return self.encoding in ("utf-8", "utf-8-sig") and not self.suspect


@dataclass(slots=True)
class _Counts:
    line_feeds: int = 0
    returns: int = 0
    pairs: int = 0
    nuls: int = 0
    odd_blanks: bool = False
    replaced: bool = False
    broken: int = 0  # places that are not UTF-8
    multibyte: int = 0
    sample: bytes = b""
    tail: bytes = b""


def inspect(path: Path) -> TextFacts:
    """Read a file of any bytes once; return what it shows."""
    counts = _count(path)
    with path.open("rb") as file:
        head = file.read(_SAMPLE)
    encoding, lossy = _encoding(head, counts)
    blank_end = counts.tail[len(counts.tail.rstrip(b"\r\n")) :].count(b"\n") - 1
    wide = encoding.startswith(("utf-16", "utf-32"))
    return TextFacts(
        encoding=encoding,
        size=path.stat().st_size,
        lines=counts.line_feeds - blank_end,
        lone_returns=counts.returns != counts.pairs,
        suspect=lossy or counts.replaced or (counts.nuls > 0 and not wide),
        odd_blanks=counts.odd_blanks or not encoding.startswith("utf-8"),
    )


def _count(path: Path) -> _Counts:
    counts = _Counts()
    decoder = codecs.getincrementaldecoder("utf-8")()
    last = b""
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            counts.line_feeds += chunk.count(b"\n")
            if b"\r" in chunk or last == b"\r":
                counts.returns += chunk.count(b"\r")
                counts.pairs += chunk.count(b"\r\n") + (last == b"\r" and chunk[:1] == b"\n")
            counts.nuls += chunk.count(b"\0")
            counts.odd_blanks = counts.odd_blanks or b"\t" in chunk
            if not chunk.isascii() or decoder.getstate()[0]:
                _count_high(chunk, decoder, counts)
            last = chunk[-1:]
            counts.tail = (counts.tail + chunk)[-4096:]
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        counts.broken += 1
    return counts


def _count_high(chunk: bytes, decoder: codecs.IncrementalDecoder, counts: _Counts) -> None:
    try:
        decoder.decode(chunk)
    except UnicodeDecodeError:
        decoder.reset()
        text = chunk.decode("utf-8", errors="replace")
        counts.broken += max(1, text.count("\ufffd") - 2)  # a chunk may cut a character at each end
        if len(counts.sample) < _SAMPLE:
            lines = [line for line in chunk.split(b"\n") if not line.isascii()]
            counts.sample += b"\n".join(lines)[:_SAMPLE]
    counts.odd_blanks = counts.odd_blanks or any(blank in chunk for blank in _ODD_BLANKS)
    counts.replaced = counts.replaced or _REPLACED in chunk
    counts.multibyte += len(_MULTIBYTE.findall(chunk[:_SAMPLE]))


def _encoding(head: bytes, counts: _Counts) -> tuple[str, bool]:
    """Return the encoding, and whether reading it so loses characters."""
    for bom, name in _BOMS:
        if head.startswith(bom):
            return name, name == "utf-8-sig" and counts.broken > 0
    pairs = head[: len(head) // 2 * 2]
    if pairs and counts.nuls > 0:
        even, odd = pairs[::2].count(0), pairs[1::2].count(0)
        if max(even, odd) > _NUL_SHARE * len(pairs) > 4 * min(even, odd):
            return ("utf-16-le" if odd > even else "utf-16-be"), False
    if not counts.broken:
        return "utf-8", False
    if counts.multibyte > 4 * counts.broken:
        # Read as a single-byte page, every sound character would be wrong.
        return "utf-8", True
    return _page(counts.sample), False


def _page(sample: bytes) -> str:
    """Return the page in which the sample reads as words, the commonest where several do.

    The library's guess is unsure on the few letters that exports hold, so it is asked only where
    no Latin page fits.
    """
    odd, page = min((_oddness(sample, page), place) for place, page in enumerate(_PAGES))
    if odd == 0:
        return _PAGES[page]
    best = from_bytes(sample, steps=10, chunk_size=2048).best()
    return best.encoding if best is not None else _PAGES[page]


def _oddness(sample: bytes, page: str) -> int:
    """Count what no text holds: signs and capitals inside words, words of accents only."""
    try:
        text = sample.decode(page)
    except UnicodeDecodeError:
        return len(sample)
    return len(_ODD_INSIDE.findall(text)) + len(_ALL_HIGH.findall(text))


def transcode(path: Path, encoding: str, out: Path) -> None:
    """Write a file as UTF-8 without BOM; bytes that cannot be decoded become U+FFFD."""
    with (
        path.open(encoding=encoding, errors="replace", newline="") as source,
        out.open("w", encoding="utf-8", newline="") as target,
    ):
        while text := source.read(_CHUNK):
            target.write(text)
