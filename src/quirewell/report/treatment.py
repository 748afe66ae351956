"""The treatment report: written from the journal, as PDF, with a manifest of every number."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from statistics import fmean
from typing import Any

from quirewell import __version__
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import Capture, ItemState, Report
from quirewell.report import content, plates
from quirewell.report.afterwards import afterwards_part
from quirewell.report.before_water import before_water
from quirewell.report.damage import condition_part, drawing_files
from quirewell.report.decision import decision_part
from quirewell.report.drawings import PRINT, LimbMark, gathering_svg, gathering_words, legend_svg
from quirewell.report.finish import finish_files, finish_part
from quirewell.report.grade import grade_part
from quirewell.report.in_short import in_short
from quirewell.report.manifest import manifest_of
from quirewell.report.model import Said, Untraceable, known_refs, settle, typed
from quirewell.report.origins import with_origins
from quirewell.report.plates import Loader, Plate
from quirewell.report.reader import PLAIN, Reader
from quirewell.report.rejoin import rejoin_files, rejoin_part
from quirewell.report.trial_told import trial_files, trials_told
from quirewell.report.typeset import typeset
from quirewell.report.went_wrong import went_wrong
from quirewell.stages.filenames import LIGHT_BOX
from quirewell.stages.light_lines import light_facts
from quirewell.stages.naming import place_words, sheet_of, sheet_words
from quirewell.stages.results import NOTHING, PageResult, Shown, captured, page_results
from quirewell.stages.shades import Shade, shade
from quirewell.stages.taking_in import BENCH_VIEW
from quirewell.studio.durable import write_whole
from quirewell.studio.studio import Studio

TEMPLATE, TEMPLATE_VERSION = "treatment.typ", 9
LARGE_PLATES, LARGE_MM, SMALL_MM, PHOTO_MM = 6, 62.0, 37.0, 78.0
PHOTO_PX = round(PHOTO_MM / 25.4 * plates.DPI)
OPEN_AT_ONCE = 2
SHADES = {"change": "change.width_pct", "colour": "paper.dE00"}
DRAWN_SO = (
    "The gathering as it lies on the bench, seen from the head: the front half above, the back "
    "half below, the spine on the right. Each line is a leaf."
)
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Head:
    """The journal as the report saw it: hash of its last entry, and the item's last event."""

    hash: str
    at: datetime
    version: int
    seq: int


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures of a report, ready for print: files by name, and how they are shown.

    ``shots`` says in which file a picture, by its capture's id, is shown.
    """

    files: dict[str, bytes]
    photographs: list[dict[str, Any]]
    large: list[dict[str, Any]]
    small: list[dict[str, Any]]
    shots: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Written:
    """A report as written: the PDF, its manifest, and both as bytes on disk."""

    pdf: Path
    json: Path
    manifest: dict[str, Any]


def head_of(studio: Studio, item_id: str) -> Head:
    """The journal's head, with the time of the item's last event: the report's own time.

    The last event that changed the item counts; a report issued does not change it.
    """
    events = [event for event in studio.events(item_id) if event.kind != "report.issued"]
    last: Event = events[-1]
    at = datetime.fromisoformat(last.at.replace("Z", "+00:00"))
    return Head(last.hash, at, last.version, last.seq)


def write_report(
    studio: Studio,
    item_id: str,
    target: Path,
    actor: str = "bench",
    load: Loader = plates.load_sample,
    progress: Progress = lambda says: None,
    reader: Reader = PLAIN,
) -> Written:
    """Write the treatment report of an item to ``target`` and its manifest beside it.

    The report is recorded in the journal as issued. The same journal gives the same bytes, for the
    same ``reader`` (units, language).

    Raises:
        NoSuchItem: no such item.
        Untraceable: a number on the way in that no finding stands behind; nothing is written.
        ReportError: the typesetter refused; nothing is written.
    """
    state, head = studio.state(item_id), head_of(studio, item_id)
    progress("pictures")
    pictures = gather_pictures(state, studio.blobs.path, load, studio.derived / "plates")
    whole = {**report_body(state, head, pictures), "short": in_short(state)}
    body = reader.as_read(whole) | reader.said_of_it()
    said = settle(body, known_refs(state))
    events = {event.version: event for event in studio.events(item_id)}
    printed = with_origins(said, body, state, events, pictures.shots)
    progress("pages")
    pdf = render(printed, state, pictures, head)
    # The manifest keeps each number as the record has it, whatever the reader likes.
    kept = Said(said.content, settle(whole, known_refs(state)).numbers)
    return put_down(studio, state, kept, pdf, head, target, actor, (TEMPLATE, TEMPLATE_VERSION))


def put_down(
    studio: Studio, state: ItemState, said: Said, pdf: bytes, head: Head, target: Path, actor: str,
    template: tuple[str, int], named: str = "",
) -> Written:  # fmt: skip
    """A report's PDF and its manifest on disk, and the report recorded as issued, by the title of
    its item or as ``named``."""
    manifest = manifest_of(said, state, head.hash, head.seq, pdf, template)
    beside = target.with_suffix(".json")
    target.parent.mkdir(parents=True, exist_ok=True)
    write_whole(target, pdf)
    write_whole(beside, (json.dumps(manifest, indent=2, ensure_ascii=False) + "\n").encode())
    if manifest["report"] not in state.reports:
        _issue(studio, state, manifest, actor, named or state.item.title)
    return Written(target, beside, manifest)


def _issue(
    studio: Studio, state: ItemState, manifest: dict[str, Any], actor: str, named: str
) -> None:
    findings = sorted({ref for number in manifest["numbers"] for ref in number["refs"]})
    noun = Report(
        manifest["report"], manifest["pdf_sha256"], manifest["head"], tuple(findings), named,
    )  # fmt: skip
    studio.append(state.id, None, (Draft(state.id, "report.issued", to_body(noun)),), actor)


def report_content(state: ItemState, head: Head, pictures: Pictures) -> Said:
    """Everything the report says, every number checked against the journal.

    Raises:
        Untraceable: a number that no finding or record stands behind.
    """
    return settle(report_body(state, head, pictures), known_refs(state))


def report_body(state: ItemState, head: Head, pictures: Pictures) -> dict[str, Any]:
    """Everything the report says, each number still with the findings it came from."""
    results = content.results_part(state)
    return {
        "title": state.item.title,
        "year": state.item.year,
        "day": content.day(head.at.isoformat()),
        "drawing": "gathering.svg" if state.gathering else "",
        "drawing_alt": gathering_words(state.gathering) if state.gathering else "",
        "drawing_says": typed(DRAWN_SO, "gathering") if state.gathering else "",
        "item": content.item_part(state),
        "before": condition_part(state, "before"),
        "estimate": grade_part(state),
        "decision": decision_part(state),
        "after": condition_part(state, "after"),
        "photographs": [shot for shot in pictures.photographs if shot["moment"] != "after"],
        "afterwards": [shot for shot in pictures.photographs if shot["moment"] == "after"],
        "treatment": {
            **content.treatment_part(state),
            "wrong": went_wrong(state),
            "trials": trials_told(state),
            "before": before_water(state),
        },
        "rejoin": rejoin_part(state),
        "finish": finish_part(state),
        "results": results,
        "shades": [_shade_entry(entry, state) for entry in _shades(state)],
        "large": pictures.large,
        "small": pictures.small,
        "remaining": content.remaining_part(state),
        "later": afterwards_part(state),
        "methods": content.methods_part(state),
        "cautions": content.cautions_part(state),
        "head": head.hash,
        "version": __version__,
        "template": f"{TEMPLATE.removesuffix('.typ')} {TEMPLATE_VERSION}",
    }


def _shades(state: ItemState) -> tuple[Shade, ...]:
    if state.gathering is None:
        return ()
    return tuple(entry for entry in (shade(state, key) for key in SHADES) if entry.marks)


def _marks(entry: Shade) -> dict[str, LimbMark]:
    return {mark.place: LimbMark(mark.level, mark.short, mark.said) for mark in entry.marks}


def _shade_entry(entry: Shade, state: ItemState) -> dict[str, Any]:
    assert state.gathering is not None
    labels = _labels(entry, state)
    return {
        "name": entry.name,
        "says": Shown(entry.says, tuple(ref for n in labels.values() for ref in n.refs), "range"),
        "figures": _by_sheet(labels),
        "file": f"shade-{entry.key}.svg",
        "key": f"key-{entry.key}.svg",
        "alt": gathering_words(state.gathering, _marks(entry), entry.name),
        "key_alt": "Key: from the lowest value to the highest in six steps",
    }


def _by_sheet(labels: dict[str, Shown]) -> list[list[Any]]:
    """A row to each sheet, from the cover inwards: its name, its front leaf, its back leaf."""
    sheets = dict.fromkeys(sorted(sheet_of(place) for place in labels))
    return [
        [
            sheet_words(sheet),
            *(labels.get(f"{sheet}.outer.{end}", NOTHING) for end in ("right", "left")),
        ]
        for sheet in sheets
    ]


def _labels(entry: Shade, state: ItemState) -> dict[str, Shown]:
    """The numbers written in a drawing, by leaf: each is the mean of its pages' findings."""
    quantity = SHADES[entry.key]
    labels = {}
    for mark in entry.marks:
        faces = [r.change(quantity) for r in page_results(state) if r.leaf == mark.place]
        known = [face for face in faces if face.value is not None]
        mean = fmean(face.value or 0.0 for face in known) if known else math.nan
        if not math.isclose(mean, mark.value, rel_tol=1e-9, abs_tol=1e-12):
            raise Untraceable(
                f"the drawing says {mark.short} of {mark.place}, its findings say {mean:g}"
            )
        refs = tuple(ref for face in known for ref in face.refs)
        labels[mark.place] = Shown(
            mark.short, refs, f"mean:{quantity}", mark.value, None, known[0].unit
        )
    return labels


def render(
    printed: dict[str, Any], state: ItemState, pictures: Pictures, head: Head,
    drawn_as: Callable[[bytes], bytes] = lambda svg: svg,
) -> bytes:  # fmt: skip
    """The PDF of a settled report with its numbers marked; ``drawn_as`` gives each drawing (SVG)
    as it is to be shown."""
    files: dict[str, bytes] = dict(pictures.files)
    if state.gathering is not None:
        plain = gathering_svg(state.gathering, palette=PRINT, shape="print")
        files["gathering.svg"] = plain.encode()
        for entry in _shades(state):
            drawn = gathering_svg(state.gathering, _marks(entry), palette=PRINT, shape="print")
            files[f"shade-{entry.key}.svg"] = drawn.encode()
            words = {0: "lowest", 1: "", 2: "", 3: "", 4: "", 5: "highest"}
            files[f"key-{entry.key}.svg"] = legend_svg(words, PRINT).encode()
    for moment in ("before", "after"):
        files.update(drawing_files(state, moment))
    files.update(rejoin_files(state))
    files.update(finish_files(state))
    files.update(trial_files(state))
    shown = {name: drawn_as(one) if name.endswith(".svg") else one for name, one in files.items()}
    return typeset(TEMPLATE, printed, shown, head.at, marked=True, apart=True)


def gather_pictures(
    state: ItemState,
    path_of: Callable[[str], Path],
    load: Loader = plates.load_sample,
    kept: Path | None = None,
) -> Pictures:
    """Photographs of the whole thing and plates of its pages, each at print size; two originals
    are open at a time, whatever their number. ``kept`` is the folder of what was cut before."""
    files: dict[str, bytes] = {}
    taken, results = item_photographs(state), page_results(state)
    best = plates.chosen(results, state, LARGE_PLATES)
    rest = tuple(result for result in results if result not in best)
    cut = partial(plates.make_plate, state=state, path_of=path_of, load=load, kept=kept)
    seen = partial(plates.photograph, path_of=path_of, longest_px=PHOTO_PX, load=load, kept=kept)
    with ThreadPoolExecutor(OPEN_AT_ONCE) as pool:
        shot = list(pool.map(seen, taken))
        cut_large = list(pool.map(partial(cut, width_mm=LARGE_MM), best))
        cut_small = list(pool.map(partial(cut, width_mm=SMALL_MM), rest))
    photographs = [_photograph(c, data, files) for c, data in zip(taken, shot, strict=True)]
    shots = {c.id: one["file"] for c, one in zip(taken, photographs, strict=True)}
    large, small = (
        [
            _plated(plate, f"{size}-{index}", files, result, state, shots)
            for index, (result, plate) in enumerate(zip(chosen, made, strict=True))
            if plate is not None
        ]
        for size, chosen, made in (("large", best, cut_large), ("small", rest, cut_small))
    )
    return Pictures(files, photographs, large, small, shots)


def _plated(
    plate: Plate, stem: str, files: dict[str, bytes], result: PageResult, state: ItemState,
    shots: dict[str, str],
) -> dict[str, Any]:  # fmt: skip
    entry = plate_entry(plate, stem, files, result)
    for moment, run in (("before", result.before), ("after", result.after)):
        capture = captured(state, run, "image") if run else None
        if entry[moment] and capture is not None:
            shots[capture.id] = entry[moment]
    return entry


def item_photographs(state: ItemState) -> tuple[Capture, ...]:
    """Pictures of the whole item, the front first."""
    found = [c for c in state.captures.values() if c.view != "scan"]
    order = ("front", "back", "spine", "head", "tail", "lamp-left", "lamp-top", "gloss")
    rank = {view: index for index, view in enumerate(order)}
    return tuple(sorted(found, key=lambda c: (rank.get(c.view, len(order)), c.id)))


def _photograph(capture: Capture, data: bytes, files: dict[str, bytes]) -> dict[str, Any]:
    name = f"photo-{len(files)}.jpg"
    files[name] = data
    words = photograph_words(capture)
    return {
        "file": name,
        "moment": capture.moment or "",
        "says": words,
        "alt": f"Photograph of the item: {words}",
    }


def photograph_words(capture: Capture) -> str:
    """What a photograph shows, and when it was taken."""
    when = f"{capture.moment} treatment" if capture.moment else "moment not said"
    if capture.view == BENCH_VIEW:
        when = "during treatment"
    return f"{view_words(capture)}, {when}"


def view_words(capture: Capture) -> str:
    """What a photograph shows, in words."""
    named = {
        "lamp-left": "lamp from the left", "lamp-top": "lamp from the top", "gloss": "gloss",
        "phone": place_words(capture.place),
        LIGHT_BOX: f"{place_words(capture.place)}, over a light box",
        BENCH_VIEW: f"{place_words(capture.place)}, at the bench",
    }  # fmt: skip
    words = named.get(capture.view, capture.view)
    return words[:1].upper() + words[1:]


def plate_entry(
    plate: Plate, stem: str, files: dict[str, bytes], result: PageResult
) -> dict[str, Any]:
    """A plate as the report shows it; its pictures go into ``files``."""
    shots: dict[str, str] = {}
    for moment, picture in (("before", plate.before), ("after", plate.after)):
        if picture is not None:
            shots[moment] = f"{stem}-{moment}.jpg"
            files[shots[moment]] = picture
    return {
        "name": plate.name,
        "before": shots.get("before", ""),
        "after": shots.get("after", ""),
        "width": f"{plate.width_mm:g}",
        "bar": f"{20 / plate.per:.3f}",
        "registered": plate.registered,
        "facts": [
            ["Width", result.change("change.width_pct")],
            ["Height", result.change("change.height_pct")],
            ["Paper colour, CIEDE2000", result.change("paper.dE00")],
            *map(list, light_facts(result)),
            ["Size", result.verdict_short],
        ],
    }
