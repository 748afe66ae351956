"""The forms a report comes in: the full record, the owner's two pages, the sheet of disclosure.

Each is a PDF with its manifest beside it, recorded as issued; ``quirewell recheck`` takes any of
them. A reader may want inches, or another language (:mod:`quirewell.report.reader`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal

from quirewell.record.nouns import ItemState
from quirewell.report import paper_parts as parts
from quirewell.report import plates, treatment
from quirewell.report.disclosure_sheet import disclosure_parts
from quirewell.report.in_short import in_short
from quirewell.report.languages import fixed_texts, texts_of
from quirewell.report.model import Said, known_refs, settle
from quirewell.report.paper_parts import Part
from quirewell.report.plates import Loader
from quirewell.report.reader import KEPT, NO_WORDS, PLAIN, Reader
from quirewell.report.short_form import FILLS, short_parts
from quirewell.report.treatment import Progress, Written, head_of, put_down, write_report
from quirewell.report.typeset import typeset
from quirewell.studio.studio import Studio

Form = Literal["full", "short", "buyer", "service"]
FORMS: Mapping[str, str] = {
    "full": "Treatment report",
    "short": "Treatment in short",
    "buyer": "What was done to it",
    "service": "What was done to it",
}
FORM_WORDS: Mapping[str, str] = {
    "full": "The full record",
    "short": "Two pages for the owner",
    "buyer": "Disclosure for a buyer",
    "service": "Disclosure for a grading service",
}
TEMPLATE, TEMPLATE_VERSION = "paper.typ", 2
SHORT_PAGES = 2
PHOTO_PX = 640


class NoForm(ValueError):
    """A form that there is not; the sentence says which there are."""


def write_form(
    form: str,
    studio: Studio,
    item_id: str,
    target: Path,
    actor: str = "bench",
    reader: Reader = PLAIN,
    load: Loader = plates.load_sample,
    progress: Progress = lambda says: None,
) -> Written:
    """Write a form of the report to ``target``, its manifest beside it, and record it as issued.

    Raises:
        NoForm: there is no such form.
        NoSuchItem: no such item.
        Untraceable: a number that no finding stands behind; nothing is written.
        ReportError: the typesetter refused; nothing is written.
    """
    if form not in FORMS:
        raise NoForm(f"there is no form {form!r}; there are {', '.join(FORMS)}")
    if form == "full":
        return write_report(studio, item_id, target, actor, load, progress, reader)
    state, head = studio.state(item_id), head_of(studio, item_id)
    progress("pictures")
    files: dict[str, bytes | Path] = {}
    photos = photos_of(state, studio.blobs.path, load, files) if form == "short" else []
    progress("pages")
    said, pdf = fitting(form, state, studio, photos, files, reader)
    used = (f"{TEMPLATE.removesuffix('.typ')} {form}", TEMPLATE_VERSION)
    named = f"{state.item.title}: {FORM_WORDS[form].lower()}"
    return put_down(studio, state, said, pdf, head, target, actor, used, named)


def form_content(
    form: str, state: ItemState, studio: Studio, fill: int = 0,
    photos: list[dict[str, str]] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """What a short form says, its numbers not yet settled."""
    made: list[Part]
    if form == "short":
        made = short_parts(state, fill, photos or [])
    else:
        made = disclosure_parts(state, studio.bench(), "service" if form == "service" else "buyer")
    return {
        "named": FORMS[form],
        "sender": studio.name,
        "paper": "a4",
        "title": state.item.title,
        "foot": f"Record {state.id}, journal {head_of(studio, state.id).hash[:16]}",
        "parts": made,
    }


def fitting(
    form: str, state: ItemState, studio: Studio, photos: list[dict[str, str]],
    files: dict[str, bytes | Path], reader: Reader = PLAIN,
    shown_as: Callable[[dict[str, Any]], dict[str, Any]] = lambda content: content,
) -> tuple[Said, bytes]:  # fmt: skip
    """The fullest version that keeps to two pages; of other forms the only one. ``shown_as`` gives
    the settled content as it is to be shown."""
    refs, at = known_refs(state), head_of(studio, state.id).at
    for fill in range(len(FILLS) if form == "short" else 1):
        own = form_content(form, state, studio, fill, photos)
        content = reader.as_read(own)
        told = reader.said_of_it()
        content["parts"] += parts.words("", told.get("kept", ""), kind="soft")
        said = settle(content, refs)
        said = Said(shown_as(said.content), said.numbers)
        shown = {one["file"] for part in said.content["parts"] for one in part.get("photos", ())}
        laid = {name: data for name, data in files.items() if name in shown}
        pdf = typeset(TEMPLATE, said.content | told, laid, at)
        if pages_of(pdf) <= SHORT_PAGES:
            break
    return Said(said.content, settle(own, refs).numbers), pdf


def pages_of(pdf: bytes) -> int:
    """Pages of a PDF of ours: the root of its page tree counts them."""
    found = re.search(rb"/Type\s*/Pages\s*/Count\s+(\d+)", pdf)
    if found is None:
        raise ValueError("this is no PDF as the typesetter writes it")
    return int(found[1])


def photos_of(
    state: ItemState, path_of: Callable[[str], Path], load: Loader, files: dict[str, bytes | Path]
) -> list[dict[str, str]]:
    """The front before and after, and one more: what the eye wants first. Their pictures go into
    ``files``."""
    before, after = (parts.photographs(state, moment) for moment in ("before", "after"))
    out: list[dict[str, str]] = []
    for one in [*before[:1], *after[:1], *before[1:2], *after[1:2]][:3]:
        name = f"photo-{len(files)}.jpg"
        files[name] = plates.photograph(one, path_of, PHOTO_PX, load)
        says = f"{parts.picture_words(one)}, {one.moment or 'moment not said'}"
        out.append({"file": name, "says": says, "hash": one.sha256,
                    "alt": f"Photograph: {says}"})  # fmt: skip
    return out


def words_wanted(form: str, studio: Studio, item_id: str) -> list[str]:
    """Every text of a form of the report, numbers taken out: what a language has to say."""
    state = studio.state(item_id)
    own = ("house.typ", "treatment.typ") if form == "full" else (TEMPLATE,)
    if form == "full":
        head, none = head_of(studio, item_id), treatment.Pictures({}, [], [], [])
        content = {**treatment.report_body(state, head, none), "short": in_short(state)}
    else:
        content = form_content(form, state, studio)
    return list(dict.fromkeys([*fixed_texts(*own), KEPT, *texts_of(content, NO_WORDS)]))
