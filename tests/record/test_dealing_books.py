"""The nouns of money, custody and parcels: through the journal and back as they were."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from quirewell.record import books, dealing
from quirewell.record.apply import RecordError
from quirewell.record.bench import EMPTY_BENCH
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Defect, Item
from quirewell.record.regions import read_region, write_region
from quirewell.studio.studio import STUDIO, Studio

OF_ITEM = (
    ("proposal.answered", "answered", dealing.Answered("proposal-1", "accepted", "defect-2")),
    ("cost.noted", "costs", dealing.Cost("cost-1", "post", Decimal("4.20"), "", "2026-02-28")),
    ("time.noted", "times", dealing.TimeSpent("time-1", "washing", minutes=Decimal(45), wraps=2)),
    ("mishap.noted", "mishaps", dealing.Mishap("mishap-1", "a corner tore in the bath", "w03")),
    ("holding.set", "holdings", dealing.Holding("sell", Decimal("420"), currency="crowns")),
    ("options.set", "own_options", dealing.Options("option,hours\npress,1\n", "both")),
    ("choice.made", "choices", dealing.Choice("press only", "least", "run-1", "A.", "2026-03-01")),
    (
        "custody.taken", "custodies",
        dealing.Custody("client-1", "2026-01-02", Decimal(260), "crowns", ("stop if ink bleeds",)),
    ),
    (
        "quote.made", "quotes",
        dealing.Quote("quote-1", (dealing.Line("mending", Decimal(30), Decimal("1.5")),), "c"),
    ),
    (
        "invoice.written", "invoices",
        dealing.Invoice("invoice-1", "7", (dealing.Line("mending", Decimal("30")),), "crowns"),
    ),
    ("grade.returned", "returned", dealing.Returned("returned-1", Decimal("4.5"), on="2026-07-01")),
    ("item.sold", "sold", dealing.Sold(Decimal("310"), "crowns", "2026-08-01", Decimal("31"))),
)  # fmt: skip
OF_STUDIO = (
    ("sale.recorded", "sales", books.Sale("sale-1", "Annual", Decimal(90), "c", Decimal("3.5"))),
    ("want.noted", "wants", books.Want("want-1", "Annual 1935", most=Decimal(80), item="annual")),
    ("stock.kept", "stock", books.StockLot("stock-1", "chalk", "7", keeps_until="2027-01-01")),
    ("rates.set", "rates", books.Rates("rates-1", "crowns", Decimal(30))),
    ("disclosures.set", "disclosures", books.Disclosures("disclosures-1", "step,tell\n")),
    ("grade_rules.set", "grade_rules", books.GradeRules("grade-rules-1", "rule\n")),
    ("client.kept", "clients", books.Client("client-1", "The Larkmoor reading room")),
    (
        "offer.looked_at", "offers",
        books.Offer("offer-1", "Annual 1937", pictures=("ab" * 32,), answers={"smell": "none"}),
    ),
    ("service.kept", "services", books.Service("service-1", "the far service", "[studio]\n")),
    ("parcel.kept", "parcels", books.Parcel("parcel-1", "first", (books.Sent("annual", "plain"),))),
)  # fmt: skip


def test_what_is_true_of_an_item_comes_back_as_it_went_in(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "s") as studio:
        studio.append("annual", 0, [Draft("annual", "item.opened", to_body(Item("Annual")))])
        for kind, into, noun in OF_ITEM:
            studio.append("annual", None, [Draft("annual", kind, to_body(noun))])
            assert list(getattr(studio.state("annual"), into).values()) == [noun]
        before = studio.state("annual")
        studio.rebuild()
        assert studio.state("annual") == before


def test_what_is_true_of_the_studio_comes_back_and_the_newest_of_an_id_holds(
    tmp_path: Path,
) -> None:
    with Studio.create(tmp_path / "s") as studio:
        for kind, into, noun in OF_STUDIO:
            studio.append(STUDIO, None, [Draft(STUDIO, kind, to_body(noun))])
            assert list(getattr(studio.bench(), into).values()) == [noun]
        newer = books.Rates("rates-1", "crowns", Decimal(35))
        studio.append(STUDIO, None, [Draft(STUDIO, "rates.set", to_body(newer))])
        assert studio.bench().rate() == newer
    assert EMPTY_BENCH.rate() is None
    assert EMPTY_BENCH.disclosure() is None
    assert EMPTY_BENCH.grading() is None


def test_what_belongs_to_an_item_is_no_matter_of_the_studio(tmp_path: Path) -> None:
    with (
        Studio.create(tmp_path / "s") as studio,
        pytest.raises(RecordError, match="of an item"),
    ):
        studio.append(STUDIO, None, [Draft(STUDIO, OF_ITEM[1][0], to_body(OF_ITEM[1][2]))])


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: dealing.Cost("a", "post", Decimal(-1)), "between 0"),
        (lambda: dealing.Cost("a", "post", Decimal(1), day="31.3.2026"), "2026-03-31"),
        (lambda: dealing.TimeSpent("a", "b", minutes=Decimal(0)), "above 0"),
        (lambda: dealing.Mishap("a", " "), "what went wrong"),
        (lambda: dealing.Returned("a", Decimal(11)), "up to 10"),
        (lambda: books.Sale("a", "b", Decimal(0)), "above 0"),
        (lambda: books.Sale("a", "b", Decimal(9), grade=Decimal(11)), "up to 10"),
        (lambda: books.Want("a", ""), "what is wanted"),
        (lambda: books.StockLot("a", ""), "which material"),
        (lambda: books.Client("a", ""), "a name"),
        (lambda: books.Offer("a", ""), "what is offered"),
        (lambda: books.Service("a", "", ""), "name of your own"),
        (lambda: Defect("a", "item", "tear", region="circle 1,2"), "point, a line or a polygon"),
        (lambda: Defect("a", "item", "tear", region="line 1,2"), "2 points or more"),
        (lambda: Defect("a", "item", "tear", region="polygon 1,1 2,2 3,3"), "span an area"),
        (lambda: Defect("a", "item", "tear", region="point 1;2"), "comma between"),
        (lambda: Defect("a", "item", "tear", region="point 1,nan"), "on the page"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_a_sentence(make, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        make()


@pytest.mark.parametrize(
    "text", ["point 1,2", "line 0,0 3,4; 1,1 2,2", "polygon 0.25,0 4,0 4,3.5", "point 1,2; 3,4"]
)
def test_a_region_is_read_and_written(text: str) -> None:
    region = read_region(text)
    assert region is not None
    assert write_region(region) == text
