"""Recheck: every number of a report computed or read again, and a list of what moved and why."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from statistics import fmean
from typing import Any

from quirewell.record.apply import COLLECTIONS
from quirewell.record.canonical import GENESIS
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState
from quirewell.report.damage import DRAWN, NOTED, NUMBERED
from quirewell.report.manifest import NoManifest, finding_of, load_manifest, run_of, version_at
from quirewell.report.model import JOURNAL, TYPED
from quirewell.stages.damage_lines import TOLD, held_of, tears_shown
from quirewell.stages.damage_schedule import added, extent_words
from quirewell.stages.drawn_extent import drawn_extents
from quirewell.stages.methods import find_method, run_method
from quirewell.stages.results import shown
from quirewell.stages.tears_told import told_tears
from quirewell.studio.blobs import hash_file
from quirewell.studio.faults import StudioError
from quirewell.studio.journal import chained
from quirewell.studio.studio import Studio

# Two computers may differ in the last bits of a float; a number that moved moved more.
RELATIVE = 1e-6


@dataclass(frozen=True, slots=True)
class Difference:
    """A number that is not what the report says, and why."""

    finding: str
    quantity: str
    subject: str
    then: str
    now: str
    why: str


@dataclass(frozen=True, slots=True)
class Rechecked:
    """What a recheck did: numbers compared, runs computed again, and the differences."""

    report: str
    item: str
    numbers: int
    runs: int
    readings: int
    differences: tuple[Difference, ...]

    @property
    def agrees(self) -> bool:
        """Whether every number is what the report says."""
        return not self.differences


@dataclass(slots=True)
class _Work:
    """A recheck under way."""

    studio: Studio
    state: ItemState
    then: ItemState
    again: dict[str, Run | str] = field(default_factory=dict)
    found: list[Difference] = field(default_factory=list)
    runs: int = 0
    readings: int = 0

    def say(
        self, ref: str, quantity: str, then: object, now: object, why: str, subject: str = ""
    ) -> None:
        self.found.append(Difference(ref, quantity, subject, str(then), str(now), why))


def recheck(
    report: Path, studio: Studio, progress: Callable[[str], None] = lambda says: None
) -> Rechecked:
    """Recheck a report: ``report`` is the PDF or the manifest beside it.

    The journal's chain is verified first. Then each method is run again on the originals
    (their hashes checked) and compared with what the report says; a reading is read again
    from the journal.

    Raises:
        NoManifest: the file is no report of this studio.
    """
    manifest, pdf = load_manifest(report, studio)
    item = str(manifest["item"])
    if studio.find(item) is None:
        raise NoManifest(
            f"{report.name} is about item {item!r}, which is not in this studio; give the folder "
            "of the studio it was written in"
        )
    state = studio.state(item)
    version = version_at(studio, item, int(manifest["head_seq"]))
    work = _Work(studio, state, studio.state_at(item, version) or state)
    _check_chain(work, manifest)
    if pdf is not None and hashlib.sha256(pdf).hexdigest() != manifest["pdf_sha256"]:
        work.say(
            str(manifest["report"]), "pdf", manifest["pdf_sha256"][:12],
            hashlib.sha256(pdf).hexdigest()[:12],
            "the PDF is not byte for byte the one that was written",
        )  # fmt: skip
    numbers = manifest["numbers"]
    for number in numbers:
        _check_number(work, number, progress)
    return Rechecked(
        str(manifest["report"]), item, len(numbers), work.runs, work.readings,
        tuple(dict.fromkeys(work.found)),
    )  # fmt: skip


def recheck_run(
    studio: Studio, item: str, run_id: str, progress: Callable[[str], None] = lambda says: None
) -> Rechecked:
    """One computation of an item done again: every finding of it against the journal's.

    Raises:
        LookupError: the item has no such computation.
    """
    state = studio.state(item)
    run = state.runs.get(run_id)
    if run is None:
        raise LookupError(f"{item} has no computation {run_id[:40]!r}; it may have been set aside")
    work = _Work(studio, state, state)
    for finding in run.findings:
        number = {"quantity": finding.quantity, "text": shown(finding).text, "value": None}
        _check_finding(work, number, finding.id, progress)
    return Rechecked(
        f"run:{run_id}", item, len(run.findings), work.runs, work.readings,
        tuple(dict.fromkeys(work.found)),
    )  # fmt: skip


def _check_chain(work: _Work, manifest: dict[str, Any]) -> None:
    """Every entry up to the report's head is what its hash says, and the head is there."""
    previous, head = GENESIS, ""
    for event in work.studio.events():
        if event.prev != previous or chained(event).hash != event.hash:
            work.say(
                f"entry {event.seq}", "journal", "whole", "broken",
                f"journal entry {event.seq} ({event.kind}) was altered, or one before it is gone",
            )  # fmt: skip
            return
        previous = event.hash
        if event.seq == int(manifest["head_seq"]):
            head = event.hash
    if head != manifest["head"]:
        work.say(
            str(manifest["report"]), "journal", str(manifest["head"])[:16], head[:16] or "nothing",
            "the journal does not hold the entry this report was written at",
        )  # fmt: skip


def _check_number(work: _Work, number: dict[str, Any], progress: Callable[[str], None]) -> None:
    quantity, refs = str(number["quantity"]), [str(ref) for ref in number["refs"]]
    if quantity == "count":
        _check_count(work, number, refs)
    elif quantity == "sentence":
        _check_sentence(work, number, refs[0], progress)
    elif quantity == TOLD:
        _check_told(work, number, refs, progress)
    elif quantity.startswith("mean:") or quantity == "range":
        _check_mean(work, number, refs, progress)
    elif quantity == DRAWN:
        _check_drawn(work, number, refs)
    elif quantity in (NOTED, NUMBERED, "staple", "joined", TYPED):
        for ref in refs:
            _check_kept(work, number, ref)
    elif quantity.startswith("record:") or (len(refs) == 1 and refs[0] in work.then.readings):
        _check_record(work, number, refs[0])
    elif refs[0].startswith("run:"):
        for ref in refs:
            _check_run(work, number, ref, progress)
    else:
        for ref in refs:
            if finding_of(work.then, ref) is None and _record(work.then, ref) is not None:
                _check_kept(work, number, ref)
            else:
                _check_finding(work, number, ref, progress)


def _check_count(work: _Work, number: dict[str, Any], refs: list[str]) -> None:
    there = [ref for ref in refs if _exists(work.state, ref)]
    if len(there) != int(float(number["value"])) or len(refs) != len(there):
        work.say(
            "", "count", number["text"], len(there), "some of what was counted was set aside since"
        )


def _check_mean(
    work: _Work, number: dict[str, Any], refs: list[str], progress: Callable[[str], None]
) -> None:
    """A mean (or the range) of findings: each is computed again, then the mean taken again."""
    before = len(work.found)
    for ref in refs:
        _check_finding(work, {**number, "value": None}, ref, progress)
    values = [f.value for ref in refs if (f := finding_of(work.then, ref)) and f.value is not None]
    if len(work.found) > before or number["value"] is None or not values:
        return
    if not _same(float(number["value"]), fmean(values)):
        work.say(
            refs[0], str(number["quantity"]), number["text"], f"{fmean(values):.6g}",
            "the report does not say what the journal says",
        )  # fmt: skip


def _exists(state: ItemState, ref: str) -> bool:
    run = state.runs.get(run_of(ref))
    return run is not None and (ref.startswith("run:") or finding_of(state, ref) is not None)


def _check_sentence(
    work: _Work, number: dict[str, Any], ref: str, progress: Callable[[str], None]
) -> None:
    run = _again(work, run_of(ref), progress)
    if isinstance(run, str):
        work.say(ref, "sentence", number["text"], "", run)
    elif number["text"] not in run.warnings:
        work.say(ref, "sentence", number["text"], "not said", _version_why(work, run))


def _check_told(
    work: _Work, number: dict[str, Any], refs: list[str], progress: Callable[[str], None]
) -> None:
    """A count of tears: measured again, and what a person answered of each read again."""
    for ref in refs:
        _check_finding(work, number, ref, progress)
    texts = []
    for state in (work.then, work.state):
        run = state.runs.get(run_of(refs[0]))
        texts.append("" if run is None else tears_shown(told_tears(run, held_of(state, run))).text)
    if texts[0] != number["text"]:
        why = "the report does not say what the journal says"
        work.say(refs[0], "tears", number["text"], texts[0], why)
    elif texts[0] != texts[1]:
        why = "a person answered otherwise of these tears since"
        work.say(refs[0], "tears", texts[0], texts[1], why)


def _check_record(work: _Work, number: dict[str, Any], ref: str) -> None:
    """A reading or another record, read again from the journal."""
    work.readings += 1
    quantity = str(number["quantity"])
    name = quantity.removeprefix("record:") if quantity.startswith("record:") else "value"
    then, now = _field(work.then, ref, name), _field(work.state, ref, name)
    printed = number["value"]
    if now is None:
        work.say(ref, name, number["text"], "nothing", "the record was set aside since")
    elif then != now:
        work.say(ref, name, then, now, "the record was corrected in the journal since")
    elif printed is not None and not _same(float(printed), float(now)):
        work.say(ref, name, number["text"], now, "the report does not say what the journal says")


def _check_drawn(work: _Work, number: dict[str, Any], refs: list[str]) -> None:
    """What was drawn of one or more defects, measured again and added up."""
    work.readings += len(refs)
    says = []
    for state in (work.then, work.state):
        held = [state.defects[ref] for ref in refs if ref in state.defects]
        unit = str(number["unit"])
        told = [[one for one in drawn_extents(defect) if one.unit == unit] for defect in held]
        found = [one[0] for one in told if one]
        says.append(added(found) if len(found) == len(refs) else None)
    then, now = says
    quantity, text = str(number["quantity"]), number["text"]
    if (
        then is None
        or not _same(float(number["value"]), then.value)
        or (not _same_or_none(number["u"], then.u))
    ):
        why = "the report does not say what the journal says"
        work.say(refs[0], quantity, text, "nothing" if then is None else extent_words(then), why)
    elif now is None:
        work.say(refs[0], quantity, text, "nothing", "the record was set aside since")
    elif then != now:
        why = "the record was corrected in the journal since"
        work.say(refs[0], quantity, text, extent_words(now), why)


def _check_kept(work: _Work, number: dict[str, Any], ref: str) -> None:
    """A record told in words: still there, and as it was. What is told of the whole journal is
    held by its chain, which was checked before."""
    if ref == JOURNAL:
        return
    work.readings += 1
    now = _record(work.state, ref)
    if now is None:
        why = "the record was set aside since"
    elif now != _record(work.then, ref):
        why = "the record was corrected in the journal since"
    else:
        return
    work.say(ref, str(number["quantity"]), number["text"], "nothing" if now is None else now, why)


def _check_run(
    work: _Work, number: dict[str, Any], ref: str, progress: Callable[[str], None]
) -> None:
    """Words told from a whole computation: it is done again, and every finding is as it was."""
    then = work.then.runs.get(run_of(ref))
    run = _again(work, run_of(ref), progress)
    if then is None or isinstance(run, str):
        why = "the journal holds no such computation" if then is None else str(run)
        work.say(ref, str(number["quantity"]), number["text"], "nothing", why)
    elif len(then.findings) != len(run.findings) or not all(
        map(_agree, then.findings, run.findings)
    ):
        why = _version_why(work, run)
        work.say(ref, str(number["quantity"]), number["text"], "other findings", why)


def _field(state: ItemState, ref: str, name: str) -> Any:
    record = _record(state, ref)
    return None if record is None else getattr(record, name, None)


def _record(state: ItemState, ref: str) -> Any:
    if ref in ("item", "gathering"):
        return getattr(state, ref)
    for name in COLLECTIONS:
        if ref in (collection := getattr(state, name)):
            return collection[ref]
    return None


def _check_finding(
    work: _Work, number: dict[str, Any], ref: str, progress: Callable[[str], None]
) -> None:
    then, quantity = finding_of(work.then, ref), str(number["quantity"])
    if then is None:
        work.say(ref, quantity, number["text"], "nothing", "the journal holds no such finding")
        return
    printed = then.smallest_seen if quantity.endswith(":smallest_seen") else then.value
    if number["value"] is not None and (
        printed is None or not _same(float(number["value"]), printed)
    ):
        work.say(
            ref, quantity, number["text"], shown(then).text,
            "the report does not say what the journal says", then.subject,
        )  # fmt: skip
        return
    run = _again(work, run_of(ref), progress)
    if isinstance(run, str):
        work.say(ref, then.quantity, shown(then).text, "nothing", run, then.subject)
        return
    same = [f for f in run.findings if (f.quantity, f.subject) == (then.quantity, then.subject)]
    now = same[0] if same else None
    if now is None or not _agree(then, now):
        told = _told_apart(then, now)
        work.say(ref, then.quantity, *told, _version_why(work, run), then.subject)


def _told_apart(then: Finding, now: Finding | None) -> tuple[str, str]:
    """Both values as shown, with all their digits where they would look the same."""
    if now is None:
        return shown(then).text, "nothing"
    texts = shown(then).text, shown(now).text
    if texts[0] != texts[1]:
        return texts
    return f"{texts[0]} ({then.value!r}, u {then.u!r})", f"{texts[1]} ({now.value!r}, u {now.u!r})"


def _again(work: _Work, id: str, progress: Callable[[str], None]) -> Run | str:
    """The run computed again, once; or why it cannot be."""
    if id not in work.again:
        work.again[id] = _run_again(work, id, progress)
    return work.again[id]


def _run_again(work: _Work, id: str, progress: Callable[[str], None]) -> Run | str:
    run = work.state.runs.get(id)
    if run is None:
        return "this computation was set aside in the journal since"
    if run.kind == "reading":
        return run
    try:
        find_method(run.method)
        files = {
            entry.role: _original(work.studio, entry.sha256) for entry in run.inputs if entry.sha256
        }
    except KeyError:
        return f"this program no longer has the method {run.method}"
    except StudioError as error:
        return f"an input is missing or altered: {error}"
    progress(f"{run.method} of {run.subject}")
    work.runs += 1
    try:
        return run_method(run.method, run.subject, files, run.inputs, run.params)
    except Exception as error:  # a method may refuse for any reason of its own; it is told
        return f"{run.method} could not be run again: {error}"


def _original(studio: Studio, sha256: str) -> Path:
    path = studio.blobs.path(sha256)
    if hash_file(path) != sha256:
        raise StudioError(f"the original {sha256[:12]}… is not what it was; restore a backup")
    return path


def _version_why(work: _Work, run: Run) -> str:
    then = work.then.runs.get(run.id) or work.state.runs.get(run.id)
    old = then or next(
        (r for r in work.state.runs.values()
         if (r.method, r.subject, r.inputs) == (run.method, run.subject, run.inputs)),
        None,
    )  # fmt: skip
    if old is not None and old.version != run.version:
        return f"{run.method} was version {old.version} then and is version {run.version} now"
    return (
        f"{run.method}, version {run.version}, gives another value from the same input: "
        "the program changed without saying so"
    )


def _agree(then: Finding, now: Finding) -> bool:
    pairs = (
        (then.value, now.value), (then.u, now.u), (then.low90, now.low90),
        (then.high90, now.high90), (then.smallest_seen, now.smallest_seen),
    )  # fmt: skip
    return then.text == now.text and all(_same_or_none(a, b) for a, b in pairs)


def _same_or_none(a: float | None, b: float | None) -> bool:
    if a is None or b is None:
        return a is b
    return _same(a, b)


def _same(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=RELATIVE, abs_tol=1e-9)


def as_json(checked: Rechecked) -> dict[str, Any]:
    """A recheck as the command line's JSON."""
    return {
        "report": checked.report,
        "item": checked.item,
        "agrees": checked.agrees,
        "numbers": checked.numbers,
        "runs_again": checked.runs,
        "records_read": checked.readings,
        "differences": [
            {"finding": d.finding, "quantity": d.quantity, "subject": d.subject,
             "then": d.then, "now": d.now, "why": d.why}
            for d in checked.differences
        ],
    }  # fmt: skip


def lines(differences: Iterable[Difference]) -> list[str]:
    """Differences in sentences."""
    return [
        f"{d.quantity}{_of(d.subject)}: {d.then} then, {d.now} now; {d.why}" for d in differences
    ]


def _of(subject: str) -> str:
    return f" of {subject}" if subject else ""
