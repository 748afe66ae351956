"""A studio full of private things, planted so that a test can ask whether any of them got out."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

from quirewell.record import books, dealing
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.stages.parcel_service import set_service
from quirewell.studio.studio import STUDIO, Studio
from report_case import add, report_studio

# Invented, and unlike any word of ours.
NAMES = {
    "owner": "R. Larkmoor",
    "client": "Quillan Ostrevar",
    "reach": "9 Vennelgate, Ostmere",
    "buyer": "Pellomar Dwyne",
    "receiver": "Tarnholt Assessors",
    "seller": "Mirrabelle Quont",
    "place": "Grobleck cabinet, shelf 7",
    "tracking": "TRK-88123-ZZ",
    "consent": "Yolanthe Ostrevar",
    "invoice": "INV-3391",
}
AMOUNTS = tuple(
    Decimal(text)
    for text in ("4321.98", "1733.21", "918.46", "5127.33", "377.19", "6612.07", "2291.64")
)
UNIT = "florens"


def planted(folder: Path, pairs: int = 2, **more: object) -> Studio:
    """The item of :func:`report_case.report_studio` with all that is private about it."""
    studio = report_studio(folder, pairs=pairs, **more)  # type: ignore[arg-type]
    money = {"currency": UNIT}
    line = (dealing.Line("washing", AMOUNTS[0]),)
    add(
        studio, "annual",
        ("cost.noted", dealing.Cost("cost-1", "post", AMOUNTS[1], UNIT, note="to and fro")),
        ("holding.set", dealing.Holding("sell", AMOUNTS[2], AMOUNTS[3], place=NAMES["place"],
                                      **money)),
        ("custody.taken", dealing.Custody("client-1", "2026-02-01", AMOUNTS[4], UNIT,
                                          came_with="a tube")),
        ("choice.made", dealing.Choice("wash", consent_by=NAMES["consent"],
                                       consent_on="2026-02-02")),
        ("quote.made", dealing.Quote("quote-1", line, UNIT, "2026-02-01", most=AMOUNTS[5])),
        ("invoice.written", dealing.Invoice("invoice-1", NAMES["invoice"], line, UNIT,
                                            "2026-04-01")),
        ("item.sold", dealing.Sold(AMOUNTS[6], UNIT, "2026-05-01", to=NAMES["buyer"])),
    )  # fmt: skip
    terms = set_service(studio.bench(), {"name": NAMES["receiver"], "currency": UNIT})
    studio.append(STUDIO, None, terms)
    service = next(iter(studio.bench().services))
    rows = (
        ("client.kept", books.Client("client-1", NAMES["client"], NAMES["reach"])),
        ("parcel.kept", books.Parcel("parcel-1", "first parcel", (
            books.Sent("annual", "plain", AMOUNTS[3]),), service, state="on its way",
            sent_on="2026-04-20", tracking=NAMES["tracking"], insured=AMOUNTS[5], currency=UNIT)),
        ("offer.looked_at", books.Offer("offer-1", "Fenwren Almanac", NAMES["seller"], AMOUNTS[1],
                                   currency=UNIT)),
    )  # fmt: skip
    studio.append(STUDIO, None, [Draft(STUDIO, kind, to_body(noun)) for kind, noun in rows])
    return studio


def private_words() -> tuple[str, ...]:
    """Every planted string, and every planted amount as it may be printed."""
    ways = [way for one in AMOUNTS for way in (f"{one}", f"{one:,}", f"{one:,}".replace(",", " "),
                                               f"{one:,}".replace(",", "\u00a0"))]  # fmt: skip
    parts = ("Larkmoor,", "Quillan", "Ostrevar", "Dwyne", "Pellomar", "Tarnholt", "Mirrabelle")
    return (*NAMES.values(), *parts, *dict.fromkeys(ways))
