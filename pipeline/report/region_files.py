"""Write each region's review: one page for the manager, rows for every store, and the workbook."""

from collections.abc import Sequence
from pathlib import Path

from pipeline.database import Database
from pipeline.due import fingerprint, program
from pipeline.errors import QuietaisleError
from pipeline.records import Selection
from pipeline.report import style
from pipeline.report.booklet import Leaf, booklet, page_box
from pipeline.report.files import put_file
from pipeline.report.pen import Box, Pen
from pipeline.report.region_content import RegionContent
from pipeline.report.region_gather import region_contents
from pipeline.report.region_page import draw_region_page
from pipeline.report.region_stores import Links, links_of, store_pages
from pipeline.report.region_workbook import region_workbook
from pipeline.report.safe_names import safe_names
from pipeline.report.standing import SUMMARY, WORKBOOK, Done, Standing, stamps
from pipeline.report.wording import Wording, wording
from pipeline.settings import Settings

REVIEW = "review"
REVIEWS = (f"{REVIEW}.xlsx", f"{REVIEW}.pdf")


def write_reviews(
    database: Database,
    settings: Settings,
    out: Path,
    selection: Selection,
    *,
    stands: bool = False,
) -> tuple[tuple[Path, ...], tuple[tuple[str, str], ...]]:
    """Write `<out>/<region>/review.pdf` and `.xlsx` of every region the selection touches.

    To be called after the stores' reports; the links point at their files. `stands`: what the
    reviews would say has not changed since they were written.

    Returns:
        The files written (or found written already), and the regions whose review could not be,
        each with the sentence why.
    """
    known = database.rows("report", "stores")
    regions = sorted({region for store, _, region in known if selection.takes(store, region)})
    region_folders = safe_names([region for _, _, region in known])
    store_folders = safe_names([store for store, _, _ in known])
    failed: list[tuple[str, str]] = []
    standing = Standing(database)
    homes = {region: out / region_folders[region] for region in regions}
    doubted = [r for r in regions if not (stands and standing.untouched(homes[r], REVIEWS))]
    for content in region_contents(database, settings, doubted) if doubted else ():
        links = [links_of(store_folders[s.store], WORKBOOK, SUMMARY) for s in content.stores]
        folder = homes[content.region]
        mark = fingerprint(program(), repr(content), repr(links))
        try:
            if not standing.holds(folder, mark, REVIEWS):
                for name, octets in _files(content, links):
                    put_file(folder / name, octets)
                standing.keep([Done(content.region, folder, mark, stamps(folder, REVIEWS))])
        except QuietaisleError as error:
            failed.append((content.region, str(error)))
    missing = dict(failed)
    written = (home / name for r, home in homes.items() if r not in missing for name in REVIEWS)
    return tuple(written), tuple(failed)


def _files(content: RegionContent, links: Sequence[Links]) -> list[tuple[str, bytes]]:
    words = wording(content.country)
    return [
        (REVIEWS[0], region_workbook(content, links, words)),
        (REVIEWS[1], region_pdf(content, links, words)),
    ]


def region_pdf(content: RegionContent, links: Sequence[Links], words: Wording) -> bytes:
    """Return the review of one region as PDF: the same content gives the same bytes."""
    size = style.page_size(content.country)

    def first(pen: Pen, page: Box) -> None:
        draw_region_page(pen, page, content, words)

    rows = store_pages(content, links, words, page_box(size).h)
    title = words("review.title", region=content.region)
    leaves = [Leaf(first), *map(Leaf, rows)]
    return booklet(leaves, size, words, title=title, foot=content.region)
