"""Taking files in: each original is durable before the journal speaks of it.

Killed at any point, nothing is lost and nothing half saved: run it again and what is in is
recognised by its hash. A bad picture is reported with its sentence and the others go on.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

from quirewell.jobs.runner import Runner
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Capture, ItemState
from quirewell.stages import tasks
from quirewell.stages.filenames import Clash, IntakePlan, Named, is_junk, named_of, plan_intake
from quirewell.stages.matching import marks_path
from quirewell.stages.naming import place_words
from quirewell.stages.refusal import Problem, Refusal
from quirewell.studio.blobs import Staged, hash_file
from quirewell.studio.faults import DiskFault, Stale, StudioError
from quirewell.studio.image_header import ImageError
from quirewell.studio.store_faults import StoreFault
from quirewell.studio.studio import Studio

# How a picture made while the work goes on is kept: it shows, and is measured by nobody.
BENCH_VIEW = "bench"
OnArrival = Callable[[int, int, "Arrival"], None]


@dataclass(frozen=True, slots=True)
class Source:
    """A file to take in: the name its owner knows it by, and where its bytes are."""

    name: str
    content: Path | BinaryIO


@dataclass(frozen=True, slots=True)
class Arrival:
    """What became of one file. ``place`` is empty when it waits to be assigned by hand."""

    name: str
    ok: bool
    says: str
    capture: str = ""
    sha256: str = ""
    place: str = ""
    already: bool = False


@dataclass(frozen=True, slots=True)
class IntakeReport:
    """What became of all files. ``stopped`` is a sentence when the work had to stop early."""

    arrivals: tuple[Arrival, ...]
    clashes: tuple[Clash, ...]
    left_out: tuple[str, ...]
    stopped: str = ""

    @property
    def taken(self) -> tuple[Arrival, ...]:
        """Pictures that came in now."""
        return tuple(entry for entry in self.arrivals if entry.ok and not entry.already)

    @property
    def already(self) -> tuple[Arrival, ...]:
        """Files whose bytes were in the item before."""
        return tuple(entry for entry in self.arrivals if entry.already)

    @property
    def refused(self) -> tuple[Arrival, ...]:
        """Files that are not taken in, each with its sentence."""
        return tuple(entry for entry in self.arrivals if not entry.ok)

    @property
    def to_assign(self) -> tuple[Arrival, ...]:
        """Pictures that are in and wait to be assigned by hand."""
        return tuple(entry for entry in self.taken if not entry.place)


def folder_sources(folder: Path) -> list[Source]:
    """Every file of a folder by name; what operating systems leave about is left out.

    Raises:
        Refusal: no such folder, or nothing in it.
    """
    if not folder.is_dir():
        raise Refusal((Problem("folder", f"There is no folder {folder}."),))
    found = sorted(entry for entry in folder.iterdir() if entry.is_file())
    sources = [Source(shown_name(entry.name), entry) for entry in found if not is_junk(entry.name)]
    if not sources:
        raise Refusal((Problem("folder", f"There are no files in {folder}."),))
    return sources


def shown_name(name: str) -> str:
    """A file's name as it can be shown and recorded: signs that cannot be printed become "?".

    >>> shown_name("w01\\n.tif")
    'w01?.tif'
    """
    return "".join(sign if sign.isprintable() else "?" for sign in name)


def take_in(
    studio: Studio,
    item: str,
    sources: Iterable[Source],
    *,
    runner: Runner | None = None,
    progress: OnArrival | None = None,
    actor: str = "bench",
    at_bench: str = "",
) -> IntakeReport:
    """Take files into an item, one after the other; ``progress(done, total, arrival)``.

    With a ``runner`` each picture is decoded in a limited worker process, which makes its
    previews at the same time. ``at_bench`` is the place of pictures made while the work
    goes on, whatever they are called.
    """
    files = list(sources)
    state = studio.state(item)
    plan = plan_intake((source.name for source in files), state.gathering, state.captures.values())
    arrivals: list[Arrival] = []
    stopped = ""
    for source in files:
        if is_junk(source.name):
            continue
        try:
            arrival = _take_one(studio, item, source, plan, runner, actor, at_bench)
        except (DiskFault, StoreFault) as error:
            stopped = str(error)
            break
        arrivals.append(arrival)
        if progress is not None:
            progress(len(arrivals), len(files), arrival)
    return IntakeReport(tuple(arrivals), plan.clashes, plan.left_out, stopped)


def _take_one(
    studio: Studio,
    item: str,
    source: Source,
    plan: IntakePlan,
    runner: Runner | None,
    actor: str,
    at_bench: str,
) -> Arrival:
    try:
        if isinstance(source.content, Path):
            known = _known(studio.state(item), source.name, hash_file(source.content))
            if known is not None:
                return known
        with studio.blobs.staged(source.content) as copy:
            state = studio.state(item)
            known = _known(state, source.name, copy.sha256)
            if known is not None:
                return known
            looked = _looked_through(studio, copy, source.name, runner)
            named, why = (None, "") if at_bench else _where(state, source.name, plan)
            capture = _capture_of(copy, looked, source.name, named, why)
            if at_bench:
                capture = replace(capture, place=at_bench, view=BENCH_VIEW)
            studio.blobs.keep(copy)
            return _record(studio, state, capture, actor)
    except (DiskFault, StoreFault):
        raise
    except (ImageError, StudioError) as error:
        return Arrival(source.name, False, _sentence(str(error)))
    except OSError as error:
        says = f"{source.name} cannot be read ({error.strerror or error}); copy it again"
        return Arrival(source.name, False, _sentence(says))


def _known(state: ItemState, name: str, sha256: str) -> Arrival | None:
    for capture in state.captures.values():
        if capture.sha256 == sha256:
            says = f"is in already, as {capture.filename}"
            if capture.place:
                says += f" ({place_words(capture.place)})"
            return Arrival(
                name, True, _sentence(says), capture.id, sha256, capture.place, already=True
            )
    return None


def _looked_through(studio: Studio, copy: Staged, name: str, runner: Runner | None) -> tasks.Looked:
    """Read the header and decode the picture once, so that a damaged one is never recorded."""
    try:
        previews = tasks.previews_of(studio.derived, copy.sha256)
        marks = str(marks_path(studio.derived, copy.sha256))
        if runner is None:
            return tasks.look_through(str(copy.path), previews, marks)
        looked: tasks.Looked = runner.limited.opened(
            tasks.LOOK_THROUGH, str(copy.path), previews, marks
        )
        return looked
    except ImageError as error:
        raise ImageError(str(error).replace(copy.path.name, name)) from error


def _where(state: ItemState, name: str, plan: IntakePlan) -> tuple[Named | None, str]:
    """Where a picture goes; None, with the reason, when that is for a person to say."""
    named = plan.named(name)
    if named is None:
        return None, plan.why_not(name)
    for other in state.captures.values():
        if other.place and named_of(other) == named:
            return None, f"{named.words} has a picture already ({other.filename})"
    return named, ""


def _capture_of(
    copy: Staged, looked: tasks.Looked, name: str, named: Named | None, why: str
) -> Capture:
    header = looked.header
    at = named or Named("", "whole", "before", "scan")
    return Capture(
        id=capture_id(copy.sha256),
        sha256=copy.sha256,
        filename=name,
        media=header.media,
        width_px=header.width_px,
        height_px=header.height_px,
        bytes=copy.bytes,
        bits=header.bits,
        resolution_dpi=_one_dpi(header.resolution_dpi),
        profile=looked.profile,
        moment=named.moment if named else None,
        place=at.place,
        panel=at.panel,
        view=at.view,
        notes=why,
        warnings=header.warnings,
        scanner=header.scanner or None,
    )


def capture_id(sha256: str) -> str:
    """Id of the picture with this hash in an item: the same file is the same picture."""
    return "p" + hashlib.sha256(sha256.encode()).hexdigest()[:11]


def _one_dpi(dpi: tuple[float, float] | None) -> float | None:
    return None if dpi is None else (dpi[0] + dpi[1]) / 2


def _record(studio: Studio, state: ItemState, capture: Capture, actor: str) -> Arrival:
    draft = Draft(state.id, "capture.added", to_body(capture))
    seen = {capture.id: state.touched.get(capture.id, 0)}
    try:
        studio.append(state.id, None, [draft], actor, seen)
    except Stale:
        known = _known(studio.state(state.id), capture.filename, capture.sha256)
        if known is None:
            raise
        return known
    if capture.place:
        words = Named(capture.place, capture.panel, capture.moment or "before", capture.view).words
        return Arrival(
            capture.filename, True, _sentence(words), capture.id, capture.sha256, capture.place
        )
    says = f"is in; assign it by hand: {capture.notes}"
    return Arrival(capture.filename, True, _sentence(says), capture.id, capture.sha256)


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."
