"""Papers for an item's owner as PDF: custody receipt, proposal, quote, invoice, return receipt.

What is missing never stops a paper: it says so in a sentence, and leaves a line to write on. Names
stand only where a paper needs them; the proposal can be printed without.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.record.bench import BenchState
from quirewell.record.dealing import Invoice, Quote
from quirewell.record.nouns import ItemState
from quirewell.report import paper_parts as parts
from quirewell.report import plates
from quirewell.report.content import STORAGE, day
from quirewell.report.model import known_refs, settle
from quirewell.report.paper_parts import Part, part, words
from quirewell.report.plates import Loader
from quirewell.report.proposal import proposal_parts
from quirewell.report.treatment import Head
from quirewell.report.typeset import typeset
from quirewell.science.planning.bill import ROUNDING
from quirewell.stages.amounts import money
from quirewell.stages.disclosure import must_tell, policy
from quirewell.stages.owner_view import OwnerView, owner_view
from quirewell.stages.plain_table import TableError
from quirewell.stages.quoting import newest_invoice
from quirewell.stages.results import Shown

TEMPLATE = "paper.typ"
PAPERS = {"a4": "a4", "letter": "us-letter"}
PHOTO_PX = 700
KINDS: Mapping[str, str] = {
    "custody": "Custody receipt",
    "proposal": "Proposal for treatment",
    "quote": "Quote",
    "invoice": "Invoice",
    "return": "Return receipt",
}
NO_NAME = "the owner"


@dataclass(frozen=True, slots=True)
class Asked:
    """A paper as asked for. ``names`` False leaves names and addresses out of a proposal;
    ``invoice`` names one by its record, the newest where empty."""

    kind: str
    paper: str = "a4"
    names: bool = True
    invoice: str = ""


@dataclass(frozen=True, slots=True)
class Made:
    """A paper as PDF, and what it lacks, in sentences."""

    pdf: bytes
    missing: tuple[str, ...]


class NoPaper(ValueError):
    """A paper that cannot be: the sentence says which there are."""


@dataclass(frozen=True, slots=True)
class _Case:
    """All that a paper is made from."""

    state: ItemState
    bench: BenchState
    view: OwnerView
    head: Head
    asked: Asked
    sender: str


def write_paper(
    asked: Asked,
    state: ItemState,
    bench: BenchState,
    sender: str,
    head: Head,
    path_of: Callable[[str], Path],
    load: Loader = plates.load_sample,
) -> Made:
    """A paper as PDF/A-2a and PDF/UA-1; the same record gives the same bytes. ``sender`` is the
    practice's name.

    Raises:
        NoPaper: no such paper or size of paper, or names left out of one that is nothing without.
        ReportError: the typesetter refused.
    """
    if asked.kind not in KINDS:
        raise NoPaper(f"there is no paper {asked.kind!r}; there are {', '.join(KINDS)}")
    if asked.paper not in PAPERS:
        raise NoPaper(f"paper is {' or '.join(PAPERS)}, got {asked.paper!r}")
    if not asked.names and asked.kind != "proposal":
        raise NoPaper(f"a {KINDS[asked.kind].lower()} needs names; the proposal goes without")
    case = _Case(state, bench, owner_view(state, bench), head, asked, sender)
    files: dict[str, bytes | Path] = {}
    content: dict[str, Any] = {
        "named": KINDS[asked.kind],
        "sender": sender,
        "paper": PAPERS[asked.paper],
        "title": state.item.title,
        "foot": f"Record {state.id}, journal {head.hash[:16]}",
        "parts": _PARTS[asked.kind](case) + _pictures(case, path_of, load, files),
    }
    if asked.kind in ("custody", "return"):
        content["parts"] += _ends(case)
    if not asked.names:
        about, *rest = content["parts"]
        content["parts"] = [about, *nameless(rest, state, case.view)]
    settled = settle(content, known_refs(state)).content
    return Made(
        typeset(TEMPLATE, settled, files, head.at), missing(state, bench, asked.kind, asked.names)
    )


def missing(state: ItemState, bench: BenchState, kind: str, names: bool = True) -> tuple[str, ...]:
    """What a paper lacks, in sentences that say what to do."""
    view = owner_view(state, bench)
    out = []
    if names and not view.owner.name:
        out.append("No owner is named: the paper leaves a line for it.")
    if kind in ("custody", "return") and view.held is None:
        out.append("It was not taken into custody here: day, value and limits are left to write.")
    if kind == "custody" and not parts.photographs(state, "before"):
        out.append("There is no photograph of it yet; one by phone from the front is enough.")
    if kind == "custody" and view.held is not None and not view.insured:
        out.append("No insured value is agreed.")
    if kind == "return" and view.held is not None and not view.held.returned_on:
        out.append("It is not noted as given back: the day is left to write.")
    if kind == "proposal" and not proposal_parts(state, bench).weighed:
        out.append("The options are not weighed yet: the paper has no table of them.")
    if kind in ("proposal", "quote") and view.quote is None:
        out.append("No quote is made yet: the paper leaves lines for it.")
    if kind == "invoice" and newest_invoice(state) is None:
        out.append("No invoice is written yet: the paper leaves lines for it.")
    return tuple(out)


# --- paper by paper ---------------------------------------------------------------------------


def _custody(case: _Case) -> list[Part]:
    held, view = case.view.held, case.view
    rows: list[list[Any]] = [
        ["Received", day(held.received_on) if held and held.received_on else ""],
        ["Insured value", _at(view.insured, "custody") if view.insured else ""],
        ["Came with", held.came_with if held else ""],
        ["Condition", held.condition if held else ""],
    ]
    blank = [] if held else [part("write", "", words=["Received on", "Insured value", "Came with"])]
    return [
        *parts.for_owner(view.owner, "Owner"), *parts.the_item(case.state),
        part("facts", "What was handed over", rows=rows), *blank,
        *parts.defects(case.state),
        *parts.limits(held),
    ]  # fmt: skip


def _proposal(case: _Case) -> list[Part]:
    owner = parts.for_owner(case.view.owner) if case.asked.names else []
    made = proposal_parts(case.state, case.bench, case.asked.names)
    return [
        *owner, *parts.the_item(case.state), *made.parts,
        *_estimate(case), *parts.limits(case.view.held), *made.consent,
    ]  # fmt: skip


def _estimate(case: _Case) -> list[Part]:
    quote = case.view.quote
    if quote is None:
        return [part("write", "Estimate", words=["Hours", "Amount", "Not more than"])]
    lines = parts.deal_table(quote, quote.of.id)
    return [part("soft", "Estimate", words=[_holds(quote.of)]), *lines, *_most(case)]


def _holds(quote: Quote | Invoice) -> str:
    if not isinstance(quote, Quote):
        return ""
    made = f"Made on {day(quote.day)}" if quote.day else ""
    until = f"holds until {day(quote.holds_until)}" if quote.holds_until else ""
    says = ", ".join(one for one in (made, until) if one)
    return (
        f"{says[:1].upper()}{says[1:]}." if says else "An estimate of the work as it is seen now."
    )


def _most(case: _Case) -> list[Part]:
    quote = case.view.quote
    if quote is None or not isinstance(quote.of, Quote):
        return []
    most = money(quote.of.most, quote.unit)
    says = (
        f"The most agreed is {most}. Work stops and the owner is rung before it is passed."
        if most
        else "No limit beyond the sum is agreed."
    )
    return words("", _at(says, quote.of.id), quote.of.note)


def _quote(case: _Case) -> list[Part]:
    quote = case.view.quote
    owner = [*parts.for_owner(case.view.owner), *parts.the_item(case.state)]
    if quote is None:
        lines = ["What", "Hours", "Amount", "What", "Hours", "Amount", "Sum", "Not more than"]
        return [*owner, part("write", "The work", words=lines), *parts.sign("Owner", "Studio")]
    return [
        *owner, part("soft", "The work", words=[_holds(quote.of)]),
        *parts.deal_table(quote, quote.of.id), *_most(case),
        *words("", "No tax is counted in.", kind="soft"),
        *parts.limits(case.view.held, 1),
        *words("Consent", "I agree to this quote and to the limits above."),
        *parts.sign("Owner", "Studio"),
    ]  # fmt: skip


def _invoice(case: _Case) -> list[Part]:
    deals = {one.of.id: one for one in case.view.invoices}
    newest = newest_invoice(case.state)
    deal = deals.get(case.asked.invoice or (newest.id if newest else ""))
    if deal is None or not isinstance(deal.of, Invoice):
        if case.asked.invoice:
            raise NoPaper("there is no such invoice here; take the newest, or write one")
        lines = ["Number", "Day", "What", "Amount", "What", "Amount", "Sum", "Tax", "To pay"]
        return [
            *parts.for_owner(case.view.owner, "To"), *parts.the_item(case.state),
            part("write", "To pay", words=lines),
        ]  # fmt: skip
    of = deal.of
    state = (
        f"Cancelled on {day(of.cancelled_on)}: nothing is to be paid on it." if of.cancelled_on
        else f"Paid on {day(of.paid_on)}, with thanks." if of.paid_on else ""
    )  # fmt: skip
    return [
        part("facts", "", rows=[["Number", _at(of.number, of.id)], ["Day", day(of.day)]]),
        *words("", state, kind="lead"),
        *parts.for_owner(case.view.owner, "To"), *parts.the_item(case.state),
        part("soft", "To pay", words=[f"Sums: {ROUNDING}."]),
        *parts.deal_table(deal, of.id, of.tax_pct, "To pay"), *words("", of.note),
    ]  # fmt: skip


def _return(case: _Case) -> list[Part]:
    held = case.view.held
    back = held is not None and bool(held.returned_on)
    rows: list[list[Any]] = []
    if held is not None:
        rows = [
            ["Received", day(held.received_on) if held.received_on else ""],
            ["Given back", day(held.returned_on) if held.returned_on else ""],
            ["How", held.returned_how],
            ["Came with", held.came_with],
        ]
    blank = [] if back else [part("write", "", words=["Given back on, and how"])]
    return [
        *parts.for_owner(case.view.owner, "Owner"), *parts.the_item(case.state),
        part("facts", "What is given back", rows=rows), *blank,
        *parts.done_steps(case.state), *_told(case), *parts.mishaps(case.state),
        *parts.remaining(case.state),
    ]  # fmt: skip


def _told(case: _Case) -> list[Part]:
    done = [one.kind for one in case.state.steps.values() if one.state == "done"]
    try:
        rows = policy(parts.own_words(case.bench))
    except TableError:
        rows = policy()
    says = must_tell(done, rows, "buyer")
    if not says:
        return []
    intro = "If it is sold, lent or graded, whoever receives it is told:"
    return [*words("What must be told", intro), part("list", "", words=list(says))]


_PARTS: Mapping[str, Callable[[_Case], list[Part]]] = {
    "custody": _custody, "proposal": _proposal, "quote": _quote, "invoice": _invoice,
    "return": _return,
}  # fmt: skip


def _pictures(
    case: _Case, path_of: Callable[[str], Path], load: Loader, files: dict[str, bytes | Path]
) -> list[Part]:
    """Photographs as they are in the record, each with its hash; they stand in both receipts."""
    if case.asked.kind not in ("custody", "return"):
        return []
    moment = "before" if case.asked.kind == "custody" else "after"
    shown = []
    for one in parts.photographs(case.state, moment):
        name = f"photo-{len(files)}.jpg"
        files[name] = plates.photograph(one, path_of, PHOTO_PX, load)
        says = parts.picture_words(one)
        alt = f"Photograph: {says}, {moment} treatment"
        shown.append({"file": name, "says": says, "alt": alt, "hash": one.sha256})
    title = "As it came" if moment == "before" else "As it goes back"
    if not shown:
        return words(title, "There is no photograph in the record.", kind="soft")
    says = (
        "These pictures are in the record byte for byte; each hash is of the whole original "
        "file, so that a picture can be held against it at any time."
    )
    return [part("photos", title, photos=shown), *words("", says, kind="soft")]


def _ends(case: _Case) -> list[Part]:
    if case.asked.kind == "custody":
        return _signed(
            "Received as described and shown. The thing stays the owner's; nothing is done to it "
            "beyond what is agreed in writing."
        )
    return [
        part("list", "Keeping it", words=list(STORAGE)),
        *_signed("Received back as described; what was done and what must be told was read."),
    ]


def _signed(says: str) -> list[Part]:
    inner = [*words("Signed", says), *parts.sign("Owner", "Studio")]
    return [part("together", "", parts=inner)]


def _at(text: str, ref: str) -> Any:
    return Shown(text, (ref,), "record")


def nameless(content: Any, state: ItemState, view: OwnerView) -> Any:
    """Content in which the owner's name, wherever it was typed, is "the owner"; so are lines of the
    address that hold a number or a sign of mail (a town may stand in the title)."""
    lines = [one.strip() for one in view.owner.reach.splitlines()]
    told = [one for one in lines if "@" in one or any(sign.isdigit() for sign in one)]
    names = {one.strip() for one in (view.owner.name, state.item.owner, *told)}
    wanted = sorted((one for one in names if len(one) > 2), key=len, reverse=True)
    return parts.replaced(content, wanted, NO_NAME)
