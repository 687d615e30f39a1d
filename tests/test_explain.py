"""`quietaisle explain`: what it prints leads from a figure to its rows and gives that figure again.

The figures are worked out anew from the printed page alone, by the formulas of docs/method.md
written down once more here; nothing of `pipeline.estimate` is used.
"""

import csv
import hashlib
import re
import zipfile
from io import StringIO
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner
from demo_run import SAMPLE, Ran
from numpy.typing import NDArray
from openpyxl import load_workbook

from pipeline.cli import cli

Floats = NDArray[np.float64]
LOGITS = np.linspace(-10, 5, 76)
SHARES = 1 / (1 + np.exp(-LOGITS))
STATION, STORE = "N104-03", "N104"
NUMBER = r"(-?\d+\.\d+)"


@pytest.fixture(scope="module")
def ran(demo_run: Ran, tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """Give a run of the demo with a database of its own."""
    return demo_run.copied(tmp_path_factory.mktemp("explain"), reports=False)


def explained(ran: Ran, *words: str) -> str:
    """Return what the command prints."""
    told = CliRunner().invoke(cli, ["explain", *words, "--database", str(ran.request.database)])
    assert told.exit_code == 0, told.output
    return told.output


@pytest.fixture(scope="module")
def page(ran: Ran) -> str:
    """Give the page of one station, with the lines of its readings."""
    return explained(ran, STATION, "clear-air", "--exports", str(SAMPLE))


def strays(spread: float) -> Floats:
    """Return the weights of a part's share (column), given the whole's (row): section 3."""
    if spread < 0.2:  # too fine for the grid
        return np.eye(LOGITS.size)
    low, high = np.full(LOGITS.size, -40.0), np.full(LOGITS.size, 10.0)
    for _ in range(60):
        centre = (low + high) / 2
        exponent = -(((LOGITS - centre[:, None]) / spread) ** 2) / 2
        weight = np.exp(exponent - exponent.max(axis=1, keepdims=True))
        weight /= weight.sum(axis=1, keepdims=True)
        above = weight @ SHARES > SHARES
        low, high = np.where(above, low, centre), np.where(above, centre, high)
    result: Floats = weight
    return result


def by_hour(curve: list[float], hour: int, first: int, last: int) -> Floats:
    """Return the matrix that reads a grid at the logits of an hour: section 3, hours."""
    low, high = np.full(LOGITS.size, -30.0), np.full(LOGITS.size, 30.0)
    for _ in range(60):
        x = (low + high) / 2
        mean = np.mean([1 / (1 + np.exp(-(x + curve[h]))) for h in range(first, last)], axis=0)
        low, high = np.where(mean > SHARES, low, x), np.where(mean > SHARES, x, high)
    at = np.clip((x + curve[hour] + 10) / 0.2, 0, LOGITS.size - 1)
    grid = np.arange(LOGITS.size)
    return np.array([np.maximum(0, 1 - np.abs(place - grid)) for place in at])


def figures(part: str, title: str) -> list[float]:
    """Return the figures printed below a title."""
    lines = part.split(title, 1)[1].splitlines()[1:]
    found: list[float] = []
    for line in lines:
        if not re.fullmatch(rf"\s*({NUMBER}\s*)+", line):
            break
        found += map(float, line.split())
    return found


def one(pattern: str, text: str) -> float:
    """Return the number that a pattern finds."""
    match = re.search(pattern, text)
    assert match, pattern
    return float(match[1])


def estimated(page: str, channel: int) -> tuple[float, float, float]:
    """Return estimate, low and high end of a channel's busy share, from the printed inputs."""
    part = page.split(f"Busy share of channel {channel} = ", 1)[1].split("\nReadings", 1)[0]
    spreads = {
        name: one(rf"{name} {NUMBER}", page) for name in ("a visit", "an hour", "a moment", "hours")
    }
    first, last = map(int, re.findall(r"hours that matter (\d+) to (\d+)", page)[0])
    half_life = one(r"half-life (\d+) days", page)
    assert one(rf"stations alike {NUMBER}", page) == 0  # else channels share what they tell
    curve, prior = figures(page, "hour curve"), np.array(figures(part, "prior:"))
    assert len(curve) == 24
    assert len(prior) == 77
    series, told_never = np.ones(LOGITS.size), 1.0
    visits: dict[tuple[str, str], Floats] = {}
    quiet: dict[tuple[str, str], float] = {}
    rows = re.findall(
        r"^  (\d+) +\S+ \S+ +(\d+) +(\d+) +single +\S+ +\S+ +(\d+) +(\d+) +- +(\S+) +\S+$",
        part, re.MULTILINE,
    )  # fmt: skip
    assert len(rows) > 20
    hours = {hour: by_hour(curve, hour, first, last) for hour in {int(row[2]) for row in rows}}
    known: dict[float, Floats] = {}
    for visit, weeks, written, readings, busy, span in rows:
        hour, n, k = int(written), int(readings), int(busy)
        moment = next((w for s, w in ((10, 1), (60, 0.5), (300, 0.2)) if float(span) <= s), 0)
        outside = 0.0 if first <= hour < last else spreads["hours"]
        variance = spreads["an hour"] ** 2 + moment * spreads["a moment"] ** 2 + outside**2
        spread = round(variance**0.5, 9)
        known.setdefault(spread, strays(spread))
        block = SHARES**k * (1 - SHARES) ** (n - k)
        told = hours[hour] @ known[spread] @ block
        visits[visit, weeks] = visits.get((visit, weeks), np.ones(LOGITS.size)) * told
        never = (1 - SHARES[0]) ** n if k == 0 else 0.0  # section 5
        quiet[visit, weeks] = quiet.get((visit, weeks), 1.0) * never
    astray = strays(spreads["a visit"])
    for key, told in visits.items():
        likelihood = astray @ told
        mean = prior[1:] @ likelihood + prior[0] * quiet[key]
        holds = 2 ** (-7 * int(key[1]) / half_life)
        series *= holds * likelihood / mean + 1 - holds
        told_never *= holds * quiet[key] / mean + 1 - holds
    joint = prior * np.concatenate([[told_never], series])
    posterior = joint / joint.sum()
    points = np.concatenate([[0.0], SHARES])
    return float(posterior @ points), point(posterior, 0.05), point(posterior, 0.95)


def point(posterior: Floats, share: float) -> float:
    """Return a point of a posterior, even in the logit within a step: section 6."""
    upto = np.cumsum(posterior)
    at = int(np.argmax(upto >= share))
    if at == 0:
        return 0.0
    part = (share - upto[at - 1]) / posterior[at]
    return float(1 / (1 + np.exp(-(LOGITS[at - 1] - 0.1 + 0.2 * part))))


@pytest.mark.parametrize(("channel", "when"), [(11, "now"), (15, "as planned")])
def test_the_printed_inputs_give_the_printed_figure(
    page: str, demo_run: Ran, channel: int, when: str
) -> None:
    """Busy share, its interval and clear air follow from what the page prints."""
    busy, low, high = estimated(page, channel)
    stated = re.search(
        rf"Busy share of channel {channel} = {NUMBER}, interval {NUMBER} to {NUMBER}", page
    )
    assert stated
    assert (busy, low, high) == pytest.approx(tuple(map(float, stated.groups())), abs=1e-6)

    part = page.split(f"{STATION} of {STORE} {when}, on channel {channel}", 1)[1].split("\n\n", 1)[
        0
    ]
    left = 1.0
    for air, hit in re.findall(
        rf"(?:measured|modelled) +{NUMBER} +{NUMBER} +\S+$", part, re.MULTILINE
    ):
        left *= 1 - float(air) * float(hit)
    clear = (1 - busy) * left
    printed = re.search(r"estimate .*, printed (\d+)\s%", part)
    assert printed
    (stored,) = demo_run.rows(
        "select clear_air_now, clear_air_planned from station_plan where station = ?", [STATION]
    )
    assert clear == pytest.approx(stored[when != "now"], abs=2e-6)
    assert abs(100 * clear - int(printed[1])) < 1
    summary = demo_run.request.out / "North" / STORE / "summary.pdf"
    with pdfium.PdfDocument(summary) as document:
        text = " ".join(document[0].get_textpage().get_text_range().split())
    assert re.search(rf"{STATION} · .{{1,30}}39 → 99 %", text)
    assert int(printed[1]) == {"now": 39, "as planned": 99}[when]


def test_every_reading_stands_in_the_line_that_is_named(page: str) -> None:
    """The sixty readings of each channel are found in the files, with moment, channel and level."""
    texts: dict[str, list[str]] = {}
    with zipfile.ZipFile(SAMPLE / "north" / "2026-06-30.zip") as archive:
        packed = archive.read("ed_readings.csv").decode()
    texts["north/2026-06-30.zip!ed_readings.csv"] = packed.splitlines()
    late = "north/2026-09-30/ed_readings.csv"
    texts[late] = (SAMPLE / late).read_text(encoding="utf-8").splitlines()
    for channel in (11, 15):
        part = page.split(f"Readings of channel {channel} that count", 1)[1].split("\n\n", 1)[0]
        rows = re.findall(
            r"^  (\S+ \S+) +(-\d+) +single +(yes|no) +(.+), line (\d+)$", part, re.MULTILINE
        )
        assert len(rows) == 60
        assert len({(file, line) for *_, file, line in rows}) == 60
        for moment, level, busy, file, line in rows:
            (cells,) = csv.reader(StringIO(texts[file][int(line) - 1]))
            assert STATION in cells
            assert str(channel) in cells
            assert any(moment in cell.replace("T", " ") for cell in cells), cells
            assert level in cells
            assert busy == ("yes" if int(level) > -75 else "no")


def test_a_store_is_the_mean_of_its_stations(ran: Ran) -> None:
    """The printed clear air of a store follows from the rows above it, and is on its page."""
    text = explained(ran, STORE)
    rows = re.findall(
        rf"^  {STORE}-\d+ +\d+ +\d+ +\d+ +{NUMBER} +{NUMBER} +{NUMBER}$", text, re.MULTILINE
    )
    assert len(rows) == 16
    weight, now, planned = np.array(rows, dtype=float).T
    for when, values, printed in (("now", now, 93), ("planned", planned, 99)):
        mean = one(rf"clear air {when} = .* = {NUMBER}, printed {printed}\s%", text)
        assert mean == pytest.approx(float(weight @ values / weight.sum()), abs=2e-6)
    assert f"weakest now: N104-03, {now.min():.6f}" in text


def test_stations_of_every_region_are_explained(ran: Ran) -> None:
    """The product on the page is the figure that was kept, today and as planned."""
    stations = ran.rows("select station, clear_air_now, clear_air_planned from station_plan")
    for station, *kept in stations[::30]:
        found = re.findall(
            rf"  estimate \(1 - {NUMBER}\) x {NUMBER} = {NUMBER}", (text := explained(ran, station))
        )
        assert [float(value) for *_, value in found] == pytest.approx(
            [value for value in kept if value is not None], abs=2e-6
        )
        ends = re.findall(rf"  (?:low|high) end .* = {NUMBER}, printed (\d+)\s%", text)
        assert len(ends) == 2 * len(found)
        # 99 stands for all that is not quite 100.
        wrong = [(v, p) for v, p in ends if p != "99" and abs(100 * float(v) - int(p)) > 0.51]
        assert wrong == []


def test_pages_name_the_files_they_were_made_from(demo_run: Ran) -> None:
    """How many, and the digest of their digests, as anybody works it out who has the files."""
    folder = SAMPLE / "mitte"
    files = [path for path in folder.rglob("*") if path.is_file() and b"M201" in path.read_bytes()]
    digests = sorted({hashlib.sha256(path.read_bytes()).hexdigest() for path in files})
    assert len(digests) < len(files)  # one is there twice, under two names
    digest = hashlib.sha256("\n".join(digests).encode()).hexdigest()

    home = demo_run.request.out / "Mitte" / "M201"
    with pdfium.PdfDocument(home / "summary.pdf") as document:
        for page in document:
            text = page.get_textpage().get_text_range()
            assert f"Aus {len(digests)} Exportdateien, Prüfsumme {digest[:16]}" in text
    book = load_workbook(home / "change-plan.xlsx")
    cells = [cell.value for row in book.worksheets[0].iter_rows() for cell in row]
    assert f"Aus {len(digests)} Exportdateien, Prüfsumme {digest}" in cells
    visible = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
    assert all(digest[:16] in str(sheet.oddFooter.left.text) for sheet in visible)  # type: ignore[union-attr] # it has one


def test_what_cannot_be_explained_is_said(ran: Ran, tmp_path: Path) -> None:
    """An unknown key names the nearest; a folder without the files says so at each reading."""
    for words, why in (
        (["N140"], "The database has no store or station 'N140'."),
        ([STATION, "--exports", str(tmp_path / "none")], "none is not a folder"),
    ):
        asked = ["explain", *words, "--database", str(ran.request.database)]
        said = CliRunner().invoke(cli, asked, standalone_mode=False)
        assert why in str(said.exception)
        assert not said.output  # half a page would hide the sentence
    text = explained(ran, STATION, "--exports", str(tmp_path))
    assert text.count("in no file of the folder") == 120
    assert "--exports" in explained(ran, STATION)
