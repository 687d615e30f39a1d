"""What to order and whom to ask, on a store's pages and sheets."""

from collections.abc import Mapping
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from accessible import parts, shortcomings
from openpyxl import load_workbook
from report_stores import extremes, invented_database
from test_report_summary import STORES, covering, printed, said

from pipeline.report.kit import style
from pipeline.report.store.asked import CoverTerms, StoreNeeds
from pipeline.report.store.content import StoreContent
from pipeline.report.store.gather import store_contents
from pipeline.report.store.pages import summary
from pipeline.report.store.workbook import workbook
from pipeline.tables.plan import CoverPlace, CoverStore, WifiAvoid, WifiRequest

VERDICTS = ("order", "measure", "no")


def _place(store: str, rank: int, between: str) -> CoverPlace:
    kind = "middle" if rank == 1 else "given"
    return CoverPlace(
        store, rank, between if rank == 1 else f"pillar {rank}", kind, 0, 12.0 * rank, 9.0, 31.4,
        20 - rank, 40 + rank, VERDICTS[rank - 1], 31.5, 25, 0.0004,
    )  # fmt: skip


def _request(store: str, rank: int) -> WifiRequest:
    what = ("channel", "width", "power")[rank - 1]
    return WifiRequest(
        store, rank, True if rank < 3 else None, what, f"shop {rank}", 6, 40, 11, 20, 6.0,
        0.01, 0.002, 0.03, 0.034, 0.009, 0.058, "S-03 26 → 11" if rank == 1 else "",
    )  # fmt: skip


@pytest.fixture(scope="module")
def contents(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, StoreContent]:
    """Give the invented stores, each with three places and three requests."""
    path: Path = tmp_path_factory.mktemp("needed") / "stores.duckdb"
    with invented_database(path, extremes()) as database:
        found = {}
        for content in store_contents(database, STORES):
            store, names = content.store.store, [s.station for s in content.stations]
            between = f"{names[0] if names else 'a'} / {names[-1] if names else 'b'}"
            needs = StoreNeeds(
                CoverStore(store, 400, 400, 60, 0.85, None, 0.96, 0.96, optimal=True, why=None),
                tuple(_place(store, rank, between) for rank in (1, 2, 3)),
                tuple(_request(store, rank) for rank in (1, 2, 3)),
                (WifiAvoid(store, "next door", 1, 20, -60.0, 2, 0.01),),
                CoverTerms(store, -80.0, 0.98, 60, 15),
            )
            found[store] = replace(content, asked=needs)
        return found


@pytest.mark.parametrize("store", ["S001", "S002", "S003", "S004", "S005"])
def test_texts_keep_apart_and_stay_on_the_page(
    contents: Mapping[str, StoreContent], store: str
) -> None:
    """No text covers another or leaves the page, and the pages stay accessible."""
    content = contents[store]
    octets = summary(content)
    items = printed(octets)
    width, _ = style.page_size(content.store.country)
    assert covering(items) == []
    assert shortcomings(octets) == []
    assert max(item.right for item in items) <= width - style.MARGIN + 1


def test_the_best_order_and_the_best_request_stand_first(
    contents: Mapping[str, StoreContent],
) -> None:
    """A manager reads what to order and whom to ask; a plan says in words where labels are weak."""
    octets = summary(contents["S001"])
    text = said(octets)
    order = text.index("brings 31 of the 60 weak labels above")
    ask = text.index("Ask to move shop 1 from Wi-Fi channel 6 to 11: gives back +3.4 points")
    assert order < ask
    pictures = [told for role, told in parts(octets, 1) if role == "Figure"]
    assert any("place 1: between" in told for told in pictures)


def test_the_workbook_has_every_place_and_request(contents: Mapping[str, StoreContent]) -> None:
    """A row each, and those that can only be avoided last."""
    content = contents["S001"]
    book = load_workbook(BytesIO(workbook(content)))
    places = [[cell.value for cell in row] for row in book["Further places"].iter_rows(min_row=2)]
    assert [row[3] for row in places] == [
        "order a station or antenna", "measure here first", "not worth it",
    ]  # fmt: skip
    asks = [[cell.value for cell in row] for row in book["Wi-Fi requests"].iter_rows(min_row=2)]
    own = "the store's own"
    assert [row[1] for row in asks] == [own, own, "not known", "others'"]
    assert asks[0][3] == "+3.4 (+0.9 to +5.8)"
    assert str(asks[2][2]).startswith("Ask to lower")
    assert "(no export says whose)" in str(asks[2][2])
    assert asks[3][2] == "nothing; avoid next door"


def test_a_store_without_needs_has_neither_sheet_nor_block(
    contents: Mapping[str, StoreContent],
) -> None:
    """Most stores need nothing."""
    content = replace(contents["S001"], asked=StoreNeeds())
    book = load_workbook(BytesIO(workbook(content)))
    assert not {"Further places", "Wi-Fi requests"} & set(book.sheetnames)
    assert "What to order" not in said(summary(content))
