"""Offers looked at before they are bought: commands on the studio's own stream, and their views.

An offer's boxes are parameters of ``bid.highest``; what the books know (currency, rate, fee of a
sale, own sales of the same title) goes into each run as a copy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from quirewell.record.bench import BenchState
from quirewell.record.books import Offer
from quirewell.record.codec import from_body, to_body
from quirewell.record.dealing import Cost
from quirewell.record.event import Draft
from quirewell.record.finding import Run
from quirewell.record.nouns import Retract
from quirewell.stages import bidding
from quirewell.stages.bid_told import about, letter, spread_of
from quirewell.stages.books import Form, made, money_of
from quirewell.stages.buying_signs import SignRow, built_in, signs_in_force
from quirewell.stages.methods import run_method
from quirewell.stages.overview import open_item
from quirewell.stages.own_sales import plain, rates_of, sales_of, sales_table, same_title
from quirewell.stages.plain_table import TableError
from quirewell.stages.refusal import refused
from quirewell.stages.sale_entry import clean, for_page
from quirewell.studio.studio import STUDIO

MOST_PICTURES = 12
SAID = (
    ("not seen", "cannot tell"), ("seen", "seen"), ("fine", "looks fine"),
    ("asked", "asked"), ("vouched", "seller says sound"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class OfferBox:
    """A box of the form: a parameter of ``bid.highest``; ``more``: folded away."""

    name: str
    label: str
    hint: str = ""
    more: bool = False
    kind: Literal["line", "table"] = "line"


BOXES = (
    OfferBox("low", "It would bring: low", "before fees, as you would sell it"),
    OfferBox("likely", "likely", "this one alone will do"),
    OfferBox("high", "high"),
    OfferBox("grade", "Grade the pictures show", "0.5 to 10, with own sales of this title"),
    OfferBox("grade_low", "lowest it may be", "1.5 below, where empty"),
    OfferBox("grade_high", "highest it may be", "1.5 above, where empty"),
    OfferBox("hours", "Your hours on it", "treatment, packing, letters"),
    OfferBox("hourly", "What an hour is worth"),
    OfferBox("fee_pct", "Fee of a sale, %"),
    OfferBox("materials", "Materials", more=True),
    OfferBox("grading_fee", "Fee of a grading service", "with its post", more=True),
    OfferBox("disclosed", "What disclosure leaves", "a factor as 0.8, or 0.6 0.8 0.9", more=True),
    OfferBox("months", "Months until it is sold", more=True),
    OfferBox("wait_pct", "Waiting costs, % a year", more=True),
    OfferBox("want_pct", "Return wanted, %", "of all money and time put in", more=True),
    OfferBox("want", "Return wanted, money", more=True),
    OfferBox("premium_pct", "Premium on a bid, %", "what the place of sale adds", more=True),
    OfferBox("exchange", "Exchange", "what one of the offer's currency is in yours", more=True),
    OfferBox("signs", "Own rows of signs", "laid over the built-in table", True, "table"),
)  # fmt: skip
_MONEY = ("low", "likely", "high", "hourly", "materials", "grading_fee", "want")
_FACTS = ("title", "seller", "asking", "post", "currency", "day", "note")


@dataclass(frozen=True, slots=True)
class OfferLine:
    """An offer in the list."""

    id: str
    title: str
    state: str
    picture: str
    says: str


@dataclass(frozen=True, slots=True)
class OfferView:
    """An offer's own page."""

    offer: Offer
    facts: Mapping[str, str]
    values: Mapping[str, str]
    signs: tuple[SignRow, ...]
    bid: dict[str, Any] | None
    lacks: str
    letter: str
    item: str
    room: int
    books_say: str

    def money(self, amount: float, down: bool = True) -> str:
        """Money to what the odds of the bid bear, a bid rounded down."""
        bid = self.bid or {}
        told = about(amount, spread_of(bid) if bid else 0.0, down)
        return f"{told} {bid.get('currency', '')}".rstrip()


# --- views ------------------------------------------------------------------------------------


def offers_view(bench: BenchState) -> tuple[OfferLine, ...]:
    """All offers, those still open first, the newest first."""
    newest = list(reversed(bench.offers.values()))
    held = sorted(newest, key=lambda one: one.state in ("bought", "let go"))
    return tuple(
        OfferLine(one.id, one.title, one.state, next(iter(one.pictures), ""), _line(one))
        for one in held
    )


def _line(offer: Offer) -> str:
    unit = f" {offer.currency}".rstrip()
    parts = [] if offer.asking is None else [f"asked {plain(offer.asking)}{unit}"]
    if offer.run is not None:
        found = bidding.as_json(offer.run)
        top = about(found["highest"]["value"], spread_of(found))
        parts.append(f"highest bid about {top} {found['currency']}".rstrip())
    open_count = len(built_in()) - sum(bool(said) for said in offer.answers.values())
    if offer.state == "looking" and open_count > 0:
        parts.append(f"{open_count} signs not looked at")
    return "; ".join(parts)


def offer_view(bench: BenchState, offer: Offer) -> OfferView:
    """One offer as its page shows it."""
    own = offer.params.get("signs", "")
    try:
        signs = signs_in_force(own)
    except TableError:
        signs = built_in()
    found = None if offer.run is None else bidding.as_json(offer.run)
    rows = {one.sign: one for one in signs}
    asks = (
        [one["sign"] for one in found["questions"]] if found is not None
        else [key for key in rows if offer.answers.get(key, "") not in ("seen", "fine")]
    )  # fmt: skip
    facts = {name: _shown(getattr(offer, name)) for name in _FACTS}
    return OfferView(
        offer, facts, {**begun(bench), **offer.params}, signs, found,
        "" if found is not None else _lacks(bench, offer),
        letter(offer.title, [rows[key] for key in asks if key in rows]), offer.item,
        MOST_PICTURES - len(offer.pictures), _books_say(bench, offer),
    )  # fmt: skip


def _shown(value: object) -> str:
    return "" if value is None else str(value)


def begun(bench: BenchState) -> dict[str, str]:
    """What the books know of an offer's boxes."""
    rates = rates_of(bench)
    known = {"hourly": rates.hour, "fee_pct": rates.sale_fee_pct}
    return {name: plain(one) for name, one in known.items() if one is not None}


def _books_say(bench: BenchState, offer: Offer) -> str:
    count = len(sales_of(bench, offer.title))
    says = "The books hold no sale of this title: type what it would bring."
    if count:
        sales = "one sale" if count == 1 else f"{count} sales"
        says = f"The books hold {sales} of this title: with a grade they tell what it would bring."
    for want in bench.wants.values():
        if same_title(want.title, offer.title) and not want.met:
            low = f" from grade {plain(want.grade_from)} up" if want.grade_from else ""
            most = f", up to {plain(want.most)} {want.currency}".rstrip() if want.most else ""
            says += f" It is on the list of wants{low}{most}."
    return says


def _lacks(bench: BenchState, offer: Offer) -> str:
    if sales_of(bench, offer.title):
        return "To get the highest bid, guess the grade, or type what it would bring."
    return "To get the highest bid, type what it would bring; one likely sum will do."


# --- commands ---------------------------------------------------------------------------------


def look_at(bench: BenchState, form: Form) -> tuple[str, tuple[Draft, ...]]:
    """A new offer and its id: only ``title`` is needed.

    Raises:
        Refusal: with a sentence at the box.
    """
    offer_id = f"offer-{bench.version + 1}"
    return offer_id, (_draft(_told(Offer(offer_id, "?"), form, bench)),)


def note(bench: BenchState, offer: Offer, form: Form) -> tuple[Draft, ...]:
    """All boxes and answers of an offer, its highest bid worked out where they suffice.

    Raises:
        Refusal: with a sentence at the box; nothing typed is lost.
    """
    told = _told(offer, form, bench)
    params = {box.name: form.get(box.name, "").strip() for box in BOXES}
    counted = rates_of(bench).currency or told.currency
    for name in _MONEY:
        amount, counted = money_of(form, name, counted)
        params[name] = amount or ""
    told = replace(told, currency=told.currency or counted)
    params = {name: text for name, text in params.items() if text}
    if len(params.get("signs", "")) > 50_000:
        raise refused(form, "signs", "own rows of signs have at most 50000 characters")
    try:
        rows = signs_in_force(params.get("signs", ""))
    except TableError as error:
        raise refused(form, "signs", f"{error}") from error
    said = {one.sign: form.get(f"answer.{one.sign}", "") for one in rows}
    allowed = {key for key, _ in SAID}
    answers = {key: text for key, text in said.items() if text in allowed}
    told = replace(told, params=params, answers=answers, run=None)
    return (_draft(replace(told, run=_run(bench, told, form))),)


def _told(offer: Offer, form: Form, bench: BenchState) -> Offer:
    title = clean(form.get("title", ""), 200)
    if not title:
        raise refused(form, "title", "say what is offered; a working title will do")
    currency = clean(form.get("currency", ""), 20)
    asking, currency = money_of(form, "asking", currency)
    post, currency = money_of(form, "post", currency)
    body = {
        **to_body(offer), "title": title, "seller": clean(form.get("seller", ""), 200),
        "asking": asking, "post": post, "currency": currency or rates_of(bench).currency,
        "day": form.get("day", "").strip(), "note": form.get("note", "").strip()[:5000],
    }  # fmt: skip
    offer_of: Offer = from_body(Offer, made(Offer, body, form, "day"))
    return offer_of


def _run(bench: BenchState, offer: Offer, form: Form) -> Run | None:
    """The bid worked out; None where nothing says yet what it would bring."""
    params = {name: text for name, text in offer.params.items() if text}
    if offer.asking is not None:
        params["asking"] = plain(offer.asking)
    if offer.post is not None:
        params["post"] = plain(offer.post)
    counted = rates_of(bench).currency or offer.currency
    units = (("currency", counted), ("offer_currency", offer.currency))
    params |= {name: text for name, text in units if text}
    if offer.answers:
        params["answers"] = "\n".join(f"{key} = {said}" for key, said in offer.answers.items())
    sales = sales_of(bench, offer.title)
    graded = any(params.get(name) for name in ("grade", "grade_low", "grade_high"))
    if sales and graded:
        params |= {"sales": sales_table(bench), "item": sales[-1].title}
        if form.get("today"):
            params["today"] = form["today"]
    elif not any(params.get(name) for name in ("low", "likely", "high")):
        if graded:
            raise refused(
                form, "likely", "the books hold no sale of this title, so a grade alone does not "
                "say what it would bring; type a likely sum",
            )  # fmt: skip
        return None
    try:
        return run_method(bidding.METHOD, "item", {}, (), params)
    except ValueError as error:
        says = for_page(error)
        raise refused(form, _box_of(says), _labelled(says)) from error


def _labelled(says: str) -> str:
    """A refusal with the boxes' labels for the names of parameters.

    >>> _labelled("premium_pct is per cent")
    'premium on a bid is per cent'
    """
    for box in BOXES:
        if "_" in box.name:
            says = says.replace(box.name, box.label.removesuffix(", %").lower())
    return says


_ABOUT = (
    ("grade", "grade"), ("likely", "likely"), ("exchange", "exchange"), ("currenc", "currency"),
    ("sales", "likely"), ("sale is", "likely"),
)  # fmt: skip


def _box_of(says: str) -> str:
    """The box that a refusal is about; what it would bring where none is named."""
    names = sorted((box.name for box in BOXES), key=len, reverse=True)
    first = next((name for name in (*names, "asking", "post") if says.startswith(name)), "")
    return first or next((box for word, box in _ABOUT if word in says), "likely")


def add_pictures(offer: Offer, hashes: tuple[str, ...]) -> tuple[Draft, ...]:
    """Seller's photographs, kept before as originals, laid to the offer."""
    held = tuple(dict.fromkeys((*offer.pictures, *hashes)))[:MOST_PICTURES]
    return (_draft(replace(offer, pictures=held)),)


def leave_picture(offer: Offer, form: Form) -> tuple[Draft, ...]:
    """One photograph taken from the offer again; its original stays kept.

    Raises:
        Refusal: it is not there.
    """
    gone = form.get("sha256", "")
    if gone not in offer.pictures:
        raise refused(form, "files", "this photograph is not with the offer any more")
    held = tuple(one for one in offer.pictures if one != gone)
    return (_draft(replace(offer, pictures=held)),)


def move(offer: Offer, form: Form) -> tuple[Draft, ...]:
    """An offer's state: looking, bid or let go; bought has its own command.

    Raises:
        Refusal: another state, or one that was bought.
    """
    for state in ("looking", "bid", "let go"):
        if form.get("state", "") == state:
            if offer.state == "bought":
                raise refused(form, "state", "it was bought already; set the item aside instead")
            return (_draft(replace(offer, state=state)),)
    raise refused(form, "state", "say looking, bid or let go")


def bought(
    bench: BenchState, offer: Offer, item_id: str, form: Form
) -> tuple[tuple[Draft, ...], Draft]:
    """What opens an item for an offer that was bought (title, remarks, what it cost) and what keeps
    that on the offer: ``paid`` (what was asked, where empty) and ``day``.

    Raises:
        Refusal: bought already, or no amount.
    """
    if offer.state == "bought":
        raise refused(form, "paid", "it was bought already")
    paid, currency = money_of(form, "paid", offer.currency)
    if paid is None and offer.asking is not None:
        paid = plain(offer.asking)
    if paid is None:
        raise refused(form, "paid", "say what was paid for it; 0 for a gift")
    post, currency = money_of(form, "paid_post", currency)
    if post is None and offer.post is not None:
        post = plain(offer.post)
    day = form.get("paid_day", "").strip()
    drafts = list(open_item(item_id, {"title": offer.title, "notes": _remarks(offer)}))
    for kind, amount in (("bought", paid), ("post", post)):
        if amount is not None:
            body = {
                "id": f"cost-{len(drafts) + 1}", "kind": kind, "amount": amount,
                "currency": currency, "day": day, "note": _from(offer),
            }  # fmt: skip
            drafts.append(Draft(item_id, "cost.noted", made(Cost, body, form, "paid_day")))
    return tuple(drafts), _draft(replace(offer, state="bought", item=item_id))


def _from(offer: Offer) -> str:
    return f"from {offer.seller}" if offer.seller else ""


def _remarks(offer: Offer) -> str:
    """What was known of it before it was bought, as the item's notes."""
    own = offer.params.get("signs", "")
    rows = {one.sign: one for one in signs_in_force(own)}
    words = dict(SAID)
    lines = [f"Bought {_from(offer)}.".replace("  ", " ").replace(" .", ".")]
    lines += [offer.note] if offer.note else []
    for key, said in offer.answers.items():
        if key in rows and said in words:
            lines.append(f"{rows[key].name}: {words[said]} (before it was bought)")
    if offer.run is not None:
        lines += [one.text for one in offer.run.findings if one.quantity == "bid.says"]
    return "\n".join(lines)


def set_aside(bench: BenchState, form: Mapping[str, str]) -> tuple[Draft, ...]:
    """Set an offer aside: ``id``; it stays in the journal.

    Raises:
        Refusal: no such offer.
    """
    if form.get("id", "") not in bench.offers:
        raise refused(form, "id", "there is no such offer; it may have been set aside meanwhile")
    return (Draft(STUDIO, "record.retracted", to_body(Retract(form["id"]))),)


def picture_name(number: int) -> str:
    """A file name for a seller's photograph in the item it was bought as."""
    return f"seller's photograph {number}"


def _draft(offer: Offer) -> Draft:
    return Draft(STUDIO, "offer.looked_at", to_body(offer))
