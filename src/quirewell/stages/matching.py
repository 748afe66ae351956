"""Each after-scan finds its own before-scan by what is printed on it.

What a page is known by is derived from its picture (and kept under ``derived/pages``, so that
it may be deleted); what was found is a proposal, or a quarrel with a file's name, and never
an event: a person confirms it.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from quirewell.jobs.batch import Job
from quirewell.jobs.runner import Runner
from quirewell.record.nouns import Capture, ItemState
from quirewell.science.imaging.same_page import (
    NoPage,
    PageIndex,
    PageMarks,
    SamePage,
    find_page,
    page_marks,
)
from quirewell.stages.filenames import named_of
from quirewell.stages.naming import place_words
from quirewell.studio.images import as_eight_bit, load_picture
from quirewell.studio.studio import Studio

TASK = "quirewell.stages.matching.match_pages"
FORM = 1


@dataclass(frozen=True, slots=True)
class Match:
    """What one picture's content says: the ``capture`` it repeats, or in words why none.

    ``state`` is "found", "ambiguous", "none" or "blank"; ``turn`` how it lies against the one
    found; ``near`` the captures that look like it.
    """

    state: str
    capture: str = ""
    turn: str = "upright"
    mirrored: bool = False
    agree: float = 0.0
    says: str = ""
    near: tuple[str, ...] = ()

    @property
    def odd(self) -> str:
        """How it lies otherwise than the one it repeats, in words; "" when it does not."""
        words = [] if self.turn == "upright" else [self.turn]
        words += ["mirrored"] if self.mirrored else []
        return " and ".join(words)


@dataclass(frozen=True, slots=True)
class Quarrel:
    """A file's name says one place and its picture another."""

    capture: str
    says: str


def marks_path(derived: Path, sha256: str) -> Path:
    """Where what a page is known by is kept."""
    return derived / "pages" / f"{sha256}-{FORM}.npz"


def befores(state: ItemState) -> dict[str, Capture]:
    """Assigned scans from before, by id: what there is to find again."""
    return {
        one.id: one
        for one in state.captures.values()
        if one.place and one.view == "scan" and one.moment == "before"
    }


def to_match(state: ItemState) -> list[Capture]:
    """Pictures whose content is worth asking: those not assigned, and assigned after-scans."""
    return [
        one
        for one in state.captures.values()
        if not one.place or (one.view == "scan" and one.moment == "after")
    ]


@dataclass(frozen=True, slots=True)
class Matches:
    """Answers known by capture id, and ids of the pictures not yet looked at."""

    found: dict[str, Match]
    left: tuple[str, ...] = ()


def known_matches(studio: Studio, state: ItemState) -> Matches:
    """What was found earlier among the same scans from before."""
    among, asked = befores(state), to_match(state)
    if not among or not asked:
        return Matches({})
    key = _key(among.values())
    found = {one.id: held for one in asked if (held := _kept(studio, one, key)) is not None}
    return Matches(found, tuple(one.id for one in asked if one.id not in found))


def at_hand(studio: Studio, state: ItemState) -> bool:
    """Whether looking needs no original that would first have to be fetched from elsewhere."""
    return all(
        marks_path(studio.derived, one.sha256).is_file() or studio.blobs.near(one.sha256)
        for one in (*befores(state).values(), *to_match(state))
    )


def match_item(studio: Studio, item: str, runner: Runner) -> dict[str, Match]:
    """Ask the content of every picture worth asking, and wait; answers by capture id.

    Raises:
        ValueError: a picture could not be looked through.
    """
    job = start_matching(studio, studio.state(item), runner, urgent=True)
    if job is not None and job.wait().state != "done":
        raise ValueError(job.error or "the pages could not be looked through")
    return known_matches(studio, studio.state(item)).found


def start_matching(
    studio: Studio, state: ItemState, runner: Runner, urgent: bool = False
) -> Job | None:
    """Begin to look for what is not known yet; None when all is. The worker keeps what it
    finds under ``derived``, so that whoever asks again sees it grow."""
    left = known_matches(studio, state).left
    if not left:
        return None
    among = befores(state)
    asked = [state.captures[id_] for id_ in left]
    key = _key(among.values())
    return runner.submit(
        TASK,
        {one.id: _paths(studio, one) for one in asked},
        {id_: _paths(studio, one) for id_, one in among.items()},
        {one.id: str(_answer_path(studio, one)) for one in asked},
        key,
        key=f"pages {key} {hashlib.sha256(' '.join(left).encode()).hexdigest()[:16]}",
        label="finding pages again",
        urgent=urgent,
    )


def quarrels(state: ItemState, matches: Mapping[str, Match]) -> tuple[Quarrel, ...]:
    """Assigned after-scans whose print is that of another page than their place says."""
    out = []
    for id_, match in matches.items():
        capture = state.captures.get(id_)
        if capture is None or not capture.place or match.state != "found":
            continue
        mine, other = named_of(capture), named_of(state.captures[match.capture])
        if (mine.place, mine.panel) != (other.place, other.panel):
            shown = state.captures[match.capture]
            says = (
                f"{capture.filename} stands at {_where(capture)}, but shows the page of "
                f"{shown.filename} ({_where(shown)})"
            )
            out.append(Quarrel(id_, says))
        elif match.odd:
            out.append(Quarrel(id_, f"{capture.filename} lies {match.odd} against the scan before"))
    return tuple(out)


def _where(capture: Capture) -> str:
    named = named_of(capture)
    half = "" if named.panel == "whole" else f", {named.panel} half"
    return place_words(named.place) + half


# --- in a worker ----------------------------------------------------------------------------


def match_pages(
    asked: Mapping[str, tuple[str, str]],
    among: Mapping[str, tuple[str, str]],
    answers: Mapping[str, str],
    key: str,
) -> int:
    """Find each asked page among others, both by id as (original, kept marks), and keep each
    answer at its path. How many were found."""
    index = PageIndex({id_: marks_of(*paths) for id_, paths in among.items()})
    count = 0
    for id_, paths in asked.items():
        marks = marks_of(*paths)
        mirror = page_marks(np.ascontiguousarray(marks.small[:, ::-1]))
        match = _match_of(find_page(marks, index, mirror))
        _keep(Path(answers[id_]), key, match)
        count += match.state == "found"
    return count


def marks_of(original: str, kept: str) -> PageMarks:
    """What a page is known by: as kept, or made from its picture and kept."""
    path = Path(kept)
    if path.is_file():
        with np.load(path, allow_pickle=False) as held:
            return PageMarks(held["places"], held["marks"], held["small"])
    grey = cv2.cvtColor(as_eight_bit(load_picture(Path(original)).pixels), cv2.COLOR_RGB2GRAY)
    return keep_marks(np.asarray(grey, np.uint8), path)


def keep_marks(grey: np.ndarray[Any, np.dtype[np.uint8]], path: Path) -> PageMarks:
    """Make what a page is known by from its grey picture, and keep it."""
    marks = page_marks(grey)
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    with part.open("wb") as out:
        np.savez_compressed(out, places=marks.places, marks=marks.marks, small=marks.small)
    part.replace(path)
    return marks


def _match_of(found: SamePage | NoPage) -> Match:
    if isinstance(found, NoPage):
        return Match(found.reason, says=found.says, near=found.near)
    return Match("found", found.key, found.turn, found.mirrored, round(found.agree, 3))


# --- kept answers ---------------------------------------------------------------------------


def _paths(studio: Studio, capture: Capture) -> tuple[str, str]:
    marks = marks_path(studio.derived, capture.sha256)
    path_of = studio.blobs.place if marks.is_file() else studio.blobs.path
    return str(path_of(capture.sha256)), str(marks)


def _key(among: Iterable[Capture]) -> str:
    """Stands for the scans that were looked among."""
    text = " ".join(sorted(f"{one.id}:{one.sha256}" for one in among))
    return hashlib.sha256(f"{FORM} {text}".encode()).hexdigest()[:16]


def _answer_path(studio: Studio, capture: Capture) -> Path:
    return studio.derived / "pages" / f"{capture.sha256}.found.json"


def _kept(studio: Studio, capture: Capture, key: str) -> Match | None:
    try:
        said = json.loads(_answer_path(studio, capture).read_text(encoding="utf-8"))
        return _match(said["match"]) if said["among"] == key else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _keep(path: Path, key: str, match: Match) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.write_text(json.dumps({"among": key, "match": asdict(match)}), encoding="utf-8")
    part.replace(path)


def _match(said: Mapping[str, Any]) -> Match:
    return Match(**{**said, "near": tuple(said.get("near", ()))})
