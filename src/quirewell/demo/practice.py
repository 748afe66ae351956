"""The Annual as a job: taken into custody, its damage drawn, weighed, quoted, done and given back.

All names, sums and days are invented; every form goes to the command a person's form goes to.
"""

from __future__ import annotations

from quirewell.demo.bench import Bench
from quirewell.demo.companions import CURRENCY, SALES
from quirewell.demo.story import ACTOR, ITEM
from quirewell.record.event import Draft
from quirewell.stages import (
    afterwards_keep,
    books,
    buying,
    clients,
    custody,
    item_money,
    quoting,
    stock,
    time_spent,
)
from quirewell.stages.drawing_defects import accept, reject
from quirewell.stages.proposing import page_pictures, proposals
from quirewell.stages.sale_entry import keep_table, look
from quirewell.stages.weigh_begin import weigh_begins
from quirewell.stages.weigh_entry import choose_option, keep_weighing, weighing_of
from quirewell.stages.working import keep_form
from quirewell.studio.studio import STUDIO

RECEIVED, LOOKED_AT = "2026-03-02T18:06", "2026-03-05T18:30"
WEIGHED, QUOTED, AGREED = "2026-03-07T12:00", "2026-03-07T12:30", "2026-03-07T19:00"
GIVEN_BACK, OFFERED = "2026-03-26T18:40", "2026-03-27T19:00"
LOOKED_AGAIN = "2026-04-02T18:30"
PAGES = ("c.outer.right", "w01.outer.left", "w01.outer.right", "w04.outer.right")
ACCEPTED = 3  # of each page, the rest waits to be answered
HOURS = (
    ("taking apart, surface cleaning", "95"), ("washing and lime bath", "240"),
    ("mending", "190"), ("drying, flattening, scanning", "120"),
    ("laying, stapling, pressing", "110"),
)  # fmt: skip
LOTS = (
    {"material": "methyl cellulose", "lot": "MC-22", "amount": "100 g", "left": "64 g",
     "cost": "9.50", "got_on": "2025-09-01", "keeps_until": "2028-09-01"},
    {"material": "kozo tissue 3.5 g/m²", "lot": "K-07", "amount": "4 m", "left": "2.5 m",
     "cost": "14", "got_on": "2025-09-01"},
    {"material": "wheat-starch paste", "lot": "made 20 March", "amount": "60 ml",
     "opened_on": "2026-03-20", "days_opened": "7", "note": "kept cool"},
)  # fmt: skip
OFFER = {
    "title": "Copperbeck Garden Annual", "seller": "a house clearance at Fenwren", "asking": "34",
    "post": "4.50", "currency": CURRENCY, "day": "2026-03-27", "grade": "4", "hours": "1.5",
    "note": "The 1935 Annual, seven photographs, none of the centrefold.",
    "answer.edges_fresh": "fine", "answer.page_count": "asked", "answer.staples_other": "seen",
    "answer.tape_inside": "vouched", "answer.colour_touched": "not seen",
}  # fmt: skip


def open_books(bench: Bench) -> None:
    """Rates, own sales as a table, what is on the shelf, the client, and the Annual received."""
    bench.clock.set(RECEIVED)
    _keep(bench, books.set_rates(
        bench.studio.bench(), {"currency": CURRENCY, "hour": "18", "sale_fee_pct": "10"}
    ))  # fmt: skip
    table = "date,title,grade,price\n" + "".join(f"{','.join(row)}\n" for row in SALES)
    seen = look(bench.studio.bench(), table, {"currency": CURRENCY})
    _keep(bench, keep_table(bench.studio.bench(), seen, "larkmoor-sales.csv"))
    for lot in LOTS:
        form = {**lot, "today": RECEIVED[:10]}
        _keep(bench, stock.keep_lot(bench.studio.bench(), form))
    _keep(bench, clients.keep_client(
        bench.studio.bench(), {"name": "M. Thwaite", "reach": "Fenwren, by letter"}
    ))  # fmt: skip
    client = next(iter(bench.studio.bench().clients))
    bench.save(custody.take_custody(bench.state, bench.studio.bench(), {
        "client": client, "received_on": RECEIVED[:10], "insured": "300", "currency": CURRENCY,
        "limit-0": "yes", "limit-1": "yes", "limits": "stop and ring before anything is filled in",
        "came_with": "a paper envelope, kept with it", "condition": ITEM["notes"],
    }))  # fmt: skip


def draw_damage(bench: Bench) -> None:
    """Take over some of what the pictures propose, and turn one down; the rest waits."""
    bench.clock.set(LOOKED_AT)
    turned_down = False
    for page in PAGES:
        for picture in page_pictures(bench.state, page, "before")[:1]:
            for one in proposals(bench.state, page, picture)[:ACCEPTED]:
                bench.save(accept(bench.state, {"proposal": one.id}))
            rest = proposals(bench.state, page, picture)
            if rest and not turned_down:
                form = {"proposal": rest[-1].id, "note": "printed, seen under the loupe"}
                bench.save(reject(bench.state, form))
                turned_down = True


def decide(bench: Bench) -> None:
    """Estimate the grade, weigh the options, quote, and take one with the owner's consent."""
    bench.clock.set(WEIGHED)
    state, held = bench.state, bench.studio.bench()
    begun = {"working": "grade", "defects": weigh_begins(state, held)["defects"]}
    bench.save(keep_form(state, begun))
    bench.save(keep_weighing(bench.state, {**weigh_begins(bench.state, held), "aim": "permanence"}))
    found = weighing_of(bench.state)
    assert found is not None
    best = str(found[1]["best"])
    bench.clock.set(QUOTED)
    bench.save(quoting.make_quote(bench.state, held, {
        "what-0": "Cleaning, washing and deacidifying", "hours-0": "7",
        "what-1": "Mending", "hours-1": "4", "what-2": "Pressing and stapling", "hours-2": "3",
        "what-3": "Tissue, paste, chalk, staples", "amount-3": "12", "currency": CURRENCY,
        "day": QUOTED[:10], "holds_until": "2026-06-30", "most": "320",
    }))  # fmt: skip
    bench.clock.set(AGREED)
    bench.save(choose_option(bench.state, {
        "option": best, "reason": "The owner wants it legible and safe to open; money has no part.",
        "consent_by": "M. Thwaite", "consent_on": AGREED[:10],
    }))  # fmt: skip


def give_back(bench: Bench) -> None:
    """The hours, what it cost, the invoice, and the Annual returned."""
    bench.clock.set(GIVEN_BACK)
    held = bench.studio.bench()
    for doing, minutes in HOURS:
        form = {"doing": doing, "minutes": minutes, "wraps": "10"}
        bench.save(time_spent.note_time(bench.state, form))
    bench.save(item_money.note_cost(bench.state, {
        "kind": "material", "amount": "12.40", "day": GIVEN_BACK[:10],
        "note": "tissue, paste, chalk, two staples",
    }, held))  # fmt: skip
    bench.save(item_money.note_mishap(bench.state, {
        "what": "a flake of the fore-edge came off while it was turned", "place": "w01",
        "day": "2026-03-08", "done_about": "kept in an envelope with it; nothing was glued",
    }))  # fmt: skip
    rows = quoting.actual_rows(bench.state, held, CURRENCY)
    form = {"number": "2026-4", "currency": CURRENCY, "day": GIVEN_BACK[:10]}
    for at, row in enumerate(rows):
        form |= {f"what-{at}": row.what, f"hours-{at}": row.hours, f"amount-{at}": row.amount}
    bench.save(quoting.write_invoice(bench.state, held, {}, form))
    bench.save(custody.give_back(
        bench.state, {"returned_on": GIVEN_BACK[:10], "returned_how": "collected by its owner"}
    ))  # fmt: skip


def look_again(bench: Bench) -> None:
    """A week later, at its owner's: the tone by the same card, and how it lies."""
    bench.clock.set(LOOKED_AGAIN)
    bench.save(afterwards_keep.keep_check(bench.state, {
        "at": f"{LOOKED_AGAIN}:00Z", "value": "tone 6", "place": "w05.outer.right",
        "words": "Lies flat, and opens without pulling at the staples.",
        "note": "at its owner's, by the same card at the same window",
    }))  # fmt: skip


def look_at_offer(bench: Bench) -> None:
    """A copy of another year, looked at before it is bought."""
    bench.clock.set(OFFERED)
    offer_id, drafts = buying.look_at(bench.studio.bench(), OFFER)
    _keep(bench, drafts)
    held = bench.studio.bench()
    _keep(bench, buying.note(held, held.offers[offer_id], {**OFFER, "today": OFFERED[:10]}))
    _keep(bench, books.note_want(bench.studio.bench(), {
        "title": OFFER["title"], "year": "1935", "grade_from": "5", "most": "90",
    }))  # fmt: skip


def _keep(bench: Bench, drafts: tuple[Draft, ...]) -> None:
    bench.studio.append(STUDIO, None, drafts, ACTOR)
