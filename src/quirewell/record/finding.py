"""What a computation leaves behind.

A :class:`Run` is one call of a registered method on stated inputs; its :class:`Finding`
entries are the numbers that came out. Everything needed to compute them again is here, so
that a report can be rechecked years later.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from quirewell.record.measured import Measured, Term

RecheckKind = Literal["exact", "seeded", "search", "reading"]
Standing = Literal["published", "measured here", "common practice", "from memory"]


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a run: what it is (``role``), the record it came from, and its hash.

    ``sha256`` is the hash of the original for a capture and empty for a reading, whose
    identity is ``ref``.
    """

    role: str
    ref: str
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """One number (or one verdict in words) with all it needs to be asked about.

    ``quantity`` is a dotted name ending in its unit where it has one ("leaf.width_mm");
    ``subject`` says of what ("w3.outer.right", "w3", "item").
    """

    id: str
    quantity: str
    subject: str
    value: float | None = None
    u: float | None = None
    unit: str = ""
    text: str = ""
    low90: float | None = None
    high90: float | None = None
    smallest_seen: float | None = None
    terms: tuple[Term, ...] = ()
    standing: Standing = "measured here"
    sources: tuple[str, ...] = ()
    note: str = ""

    def measured(self) -> Measured:
        """The finding as a :class:`Measured` value.

        Raises:
            ValueError: when the finding is a verdict in words.
        """
        if self.value is None:
            raise ValueError(f"{self.quantity} of {self.subject} holds words, not a number")
        return Measured(
            self.value,
            self.u,
            self.unit,
            self.low90,
            self.high90,
            self.terms,
            self.smallest_seen,
        )


@dataclass(frozen=True, slots=True)
class Run:
    """One call of a method: inputs and parameters in, findings, warnings and drawing out.

    ``params`` and ``drawing`` hold text only (numbers as decimal text): ``drawing`` carries
    geometry for the viewer, such as the outline as "x,y x,y ..." in pixels of the original.
    """

    id: str
    method: str
    version: int
    kind: RecheckKind
    subject: str
    inputs: tuple[Input, ...]
    params: dict[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    warnings: tuple[str, ...] = ()
    drawing: dict[str, str] = field(default_factory=dict)
