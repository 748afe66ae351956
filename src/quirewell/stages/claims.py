"""Claims after a treatment, in words; what stands here is private."""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.record.afterwards import Claim
from quirewell.record.nouns import ItemState


@dataclass(frozen=True, slots=True)
class ClaimLine:
    """A claim as a page shows it."""

    claim: Claim
    says: str
    open: bool


def claim_lines(state: ItemState) -> tuple[ClaimLine, ...]:
    """All claims, the open ones first."""
    lines = [ClaimLine(one, claim_words(one), one.state == "open") for one in state.claims.values()]
    return tuple(sorted(lines, key=lambda one: (not one.open, one.claim.on)))


def claim_words(claim: Claim) -> str:
    """A claim in a sentence, with its money and the name behind it."""
    whom = f"the {claim.against}" if claim.against != "other" else "somebody else"
    if claim.name:
        whom += f" ({claim.name})"
    asked = "" if claim.amount is None else f", {_money(claim.amount, claim.currency)} claimed"
    paid = "" if claim.paid is None else f", {_money(claim.paid, claim.currency)} paid"
    closed = f" on {claim.closed_on}" if claim.closed_on else ""
    return f"Against {whom}, {claim.on}: {claim.what}{asked}; {claim.state}{closed}{paid}"


def public_words(claim: Claim) -> str:
    """A claim as it may be told to anybody: against whom and how it ended; no money, no names."""
    whom = f"the {claim.against}" if claim.against != "other" else "somebody else"
    return f"A claim against {whom} was made; it is {claim.state}."


def _money(amount: object, currency: str) -> str:
    return f"{amount:.2f} {currency}".strip()
