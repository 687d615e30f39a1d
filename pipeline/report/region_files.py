"""Write each region's review: one page for the manager, rows for every store, and the workbook."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.database import Database
from pipeline.due import fingerprint, program
from pipeline.errors import QuietaisleError
from pipeline.parallel import mapped
from pipeline.records import Selection
from pipeline.report import style
from pipeline.report.booklet import Leaf, booklet, page_box
from pipeline.report.files import not_laid_out, put_file
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


@dataclass(frozen=True, slots=True)
class _Review:
    """A review to write: what it says, and the fingerprint of that."""

    content: RegionContent
    links: tuple[Links, ...]
    mark: str


@dataclass(frozen=True, slots=True)
class Reviews:
    """Reviews being written: the folder of each region, those that are due, and their files."""

    homes: Mapping[str, Path]
    standing: Standing
    due: Sequence[_Review]
    jobs: Sequence[tuple[_Review, str]]
    made: Iterator[bytes | str]

    def finish(self) -> tuple[tuple[Path, ...], tuple[tuple[str, str], ...]]:
        """Write what is still to be written.

        Returns:
            The files written (or found written already), and the regions whose review could not
            be, each with the sentence why.
        """
        made = dict(zip(map(_place, self.jobs), self.made, strict=True))
        failed = dict(self._put(made))
        homes = [home for region, home in self.homes.items() if region not in failed]
        return tuple(home / name for home in homes for name in REVIEWS), tuple(failed.items())

    def _put(self, made: Mapping[tuple[str, str], bytes | str]) -> Iterator[tuple[str, str]]:
        """Put files in place; yield the regions where that failed, each with why."""
        for review in self.due:
            region, home = review.content.region, self.homes[review.content.region]
            files = [made[region, name] for name in REVIEWS]
            broken = [why for why in files if isinstance(why, str)]
            if broken:
                yield region, broken[0]
                continue
            octets = [each for each in files if isinstance(each, bytes)]
            try:
                for name, each in zip(REVIEWS, octets, strict=True):
                    put_file(home / name, each)
            except QuietaisleError as error:
                yield region, str(error)
            else:
                self.standing.keep([Done(region, home, review.mark, stamps(home, REVIEWS))])


def reviews(
    database: Database,
    settings: Settings,
    out: Path,
    selection: Selection,
    *,
    stands: bool = False,
) -> Reviews:
    """Begin to write `<out>/<region>/review.pdf` and `.xlsx` of the regions a selection touches.

    To be called after the audit; the links point at the stores' files. `stands`: what the
    reviews would say has not changed since they were written.
    """
    known = database.rows("report", "stores")
    regions = sorted({region for store, _, region in known if selection.takes(store, region)})
    region_folders = safe_names([region for _, _, region in known])
    store_folders = safe_names([store for store, _, _ in known])
    standing = Standing(database)
    homes = {region: out / region_folders[region] for region in regions}
    doubted = [r for r in regions if not (stands and standing.untouched(homes[r], REVIEWS))]
    due = []
    for content in region_contents(database, settings, doubted) if doubted else ():
        links = tuple(links_of(store_folders[s.store], WORKBOOK, SUMMARY) for s in content.stores)
        mark = fingerprint(program(), repr(content), repr(links))
        if not standing.holds(homes[content.region], mark, REVIEWS):
            due.append(_Review(content, links, mark))
    jobs = _jobs(due)
    return Reviews(homes, standing, due, jobs, mapped(_made, jobs, len(jobs)))


def _jobs(due: Sequence[_Review]) -> list[tuple[_Review, str]]:
    """Return the files to make: work is taken from both ends, so the long pieces are there."""
    books, pages = ([(review, name) for review in due] for name in REVIEWS)
    half = (len(books) + 1) // 2
    return [*books[:half], *pages, *books[half:]]


def _place(job: tuple[_Review, str]) -> tuple[str, str]:
    review, name = job
    return review.content.region, name


def _made(job: tuple[_Review, str]) -> bytes | str:
    """Return one file of a review, or why it could not be made; the rest finish all the same."""
    review, name = job
    words = wording(review.content.country)
    try:
        if name == REVIEWS[0]:
            return region_workbook(review.content, review.links, words)
        return region_pdf(review.content, review.links, words)
    except Exception as error:  # noqa: BLE001 - as the docstring says
        return not_laid_out("review", "region", review.content.region, error)


def region_pdf(content: RegionContent, links: Sequence[Links], words: Wording) -> bytes:
    """Return the review of one region as PDF: the same content gives the same bytes."""
    size = style.page_size(content.country)

    def first(pen: Pen, page: Box) -> None:
        draw_region_page(pen, page, content, words)

    rows = store_pages(content, links, words, page_box(size).h)
    title = words("review.title", region=content.region)
    leaves = [Leaf(first), *map(Leaf, rows)]
    return booklet(leaves, size, words, title=title, foot=content.region)
