"""Make an archive: a studio, or one item of it, in open formats inside a BagIt bag.

Everything is written into a hidden folder beside the target, read back, and then renamed: there
is a whole archive under its name, or none. Nothing is ever overwritten.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from quirewell import __version__
from quirewell.exchange import crate, iiif, record_files, tables
from quirewell.exchange.bag import Bag, Kept
from quirewell.exchange.bag_read import fixity, open_bag
from quirewell.exchange.cutting import Cutter
from quirewell.exchange.journal_file import Line, lines_out
from quirewell.exchange.readme import readme
from quirewell.exchange.scope import LEFT_OUT
from quirewell.exchange.sources import FromStudio, bench_of, items_of, state_of
from quirewell.record.canonical import canonical
from quirewell.record.codec import to_body
from quirewell.record.event import Event
from quirewell.record.nouns import ItemState
from quirewell.report.annotations import damage_annotations
from quirewell.studio import journal
from quirewell.studio.archive import open_writer
from quirewell.studio.blobs import is_sha256
from quirewell.studio.check import recorded_originals
from quirewell.studio.clock import instant_text
from quirewell.studio.database import reading
from quirewell.studio.durable import placed, scratch
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio

ARCHIVE = "archive.json"
FORMAT = "quirewell archive"
FORMAT_VERSION = 1
# Under derived/ of a studio: archives that wait there to be fetched by a page, and nothing else.
WAITING = "archives"
OnProgress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted: one item or (empty) all; with tiles; with owners and money."""

    item: str = ""
    tiles: bool = True
    with_private: bool = False
    licence: str = ""
    base: str = iiif.BASE
    workers: int = 2


@dataclass(slots=True)
class Made:
    """What was written."""

    path: str
    head: str
    entries: int = 0
    items: int = 0
    originals: int = 0
    originals_bytes: int = 0
    files: int = 0
    bytes: int = 0
    withheld: int = 0
    left_out: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {name: getattr(self, name) for name in self.__slots__}


def make(
    folder: Path | str, target: Path | str, wish: Wish | None = None, zipped: bool = False,
    progress: OnProgress | None = None,
) -> Made:  # fmt: skip
    """Write an archive of the studio in ``folder`` to ``target``, which must not exist.

    Raises:
        StudioError: the target exists, an original is missing or altered, or no such item.
        DiskFull: no room; no half archive is left.
        ValueError: a base address that is none.
    """
    place, wish = Path(target).absolute(), wish or Wish()
    iiif.check_base(wish.base)
    zipped = zipped or place.suffix.lower() == ".zip"
    if os.path.lexists(place):
        raise StudioError(f"{place} exists already; an archive never overwrites, choose a new name")
    if not place.parent.is_dir():
        raise StudioError(f"there is no folder {place.parent} to put the archive in")
    with Studio.open(folder) as studio:
        waits = place.is_relative_to(studio.derived / WAITING)
        if place.is_relative_to(studio.folder) and not waits:
            raise StudioError(f"an archive cannot lie in {studio.folder}; put it elsewhere")
        if wish.item:
            studio.state(wish.item)
        with placed(place) as part, scratch(place) as rough:
            made = _Making(studio, wish, rough, place, progress or _silent).write(part, zipped)
    return made


def _silent(words: str, done: int, total: int) -> None:
    """No progress is shown."""


class _Making:
    def __init__(
        self, studio: Studio, wish: Wish, rough: Path, place: Path, progress: OnProgress
    ) -> None:
        self.studio, self.wish, self.rough, self.place = studio, wish, rough, place
        self.progress = progress
        self.told: list[crate.Told] = []
        self.named: dict[str, str] = {}  # originals to go along: media by hash
        self.perhaps: set[str] = set()  # hashes in the journal that may be those of originals
        self.words: dict[str, str] = {}  # what the journal calls an original
        self.renamed: dict[str, str] = {}  # reports whose own name is not plain
        self.pictured: list[ItemState] = []  # what of each item its pictures need
        self.made = Made(str(place), studio.head())

    def write(self, target: Path, zipped: bool) -> Made:
        """Write the bag, read it back."""
        with ExitStack() as stack:
            writer = stack.enter_context(open_writer(target, zipped))
            bag = Bag(writer, self.place.stem if zipped else "")
            self._record(bag)
            self._originals(bag)
            self._reports(bag)
            self._pictures(bag)
            self._about(bag)
        with open_bag(target) as opened:
            for trouble in fixity(opened, lambda done, total: self.progress("read back", done,
                                                                           total)):  # fmt: skip
                raise StudioError(
                    f"the archive does not read back as it was written ({trouble.says}); it was "
                    "thrown away. Try another disk"
                )
        return self.made

    # --- what is written ----------------------------------------------------------------

    def _keep(self, kept: Kept, name: str, says: str, media: str = "") -> None:
        path = kept.path.removeprefix("data/")
        self.told.append(crate.Told(path, name, says, kept.sha256, kept.bytes, media))

    def _record(self, bag: Bag) -> None:
        """Journal, record, tables and annotations, all of one moment of the studio."""
        with reading(self.studio.engine) as connection:
            source = FromStudio(connection, self.wish.item, self.wish.with_private)
            self.made.head = journal.head_of(connection)[1]
            lines = self._counted(source.lines())
            self._keep(
                bag.add_chunks("journal.jsonl", lines_out(lines)),
                "Journal",
                "every entry of the record in the order it was made, a line each",
            )
            files = record_files.TableFiles(self.rough / "tables")
            items = items_of(source)
            for done, item in enumerate(items, 1):
                state = state_of(source, item)
                body = to_body(state)
                self._item(bag, state, body)
                files.add(state, body)
                if state.captures:
                    self.pictured.append(
                        ItemState(state.id, state.version, state.item, captures=state.captures,
                                  defects=state.defects)
                    )  # fmt: skip
                self.progress("items laid out", done, len(items))
            self.made.items = len(items)
            if (bench := bench_of(source)) is not None:
                text = canonical(to_body(bench)) + "\n"
                self._keep(
                    bag.add_text("record/bench.json", text),
                    "The bench",
                    "what is true of the bench itself: strip, scanner, press, books",
                )
            written = dict(files.close())
            for name, place in written.items():
                table = tables.schema()[name]
                self._keep(bag.add_file(f"tables/{name}.csv", place), f"Table {name}", table.says)
            said = tables.metadata(tables.schema()[name] for name in written)
            self._keep(
                bag.add_text("tables/csv-metadata.json", json.dumps(said, indent=1) + "\n"),
                "Columns of the tables", "types, units and keys of all tables (CSVW)",
                "application/csvm+json",
            )  # fmt: skip

    def _counted(self, lines: Iterator[Line]) -> Iterator[Line]:
        for line in lines:
            self.made.entries += 1
            self.made.withheld += bool(line.withheld)
            event = line.event
            if line.withheld != ("all",):
                for name in _hashes(event.body) if self._may_go(event) else ():
                    self.perhaps.add(name)
                if event.kind == "capture.added":
                    self.named[event.body["sha256"]] = event.body["media"]
                self.words = recorded_originals((event,)) | self.words
            yield line

    def _may_go(self, event: Event) -> bool:
        """Whether the files an entry names go along: a report's PDF names the owner."""
        return event.kind != "report.issued" or not self.wish.item or self.wish.with_private

    def _item(self, bag: Bag, state: ItemState, body: Mapping[str, Any]) -> None:
        name, title = record_files.file_name(state.id), state.item.title
        self._keep(
            bag.add_text(f"record/{name}.json", record_files.record_text(body)),
            f"Record of {title}",
            "everything true of the item, as canonical JSON",
        )
        if state.defects:
            text = json.dumps(damage_annotations(state), ensure_ascii=False, indent=1) + "\n"
            self._keep(
                bag.add_text(f"annotations/{name}.json", text),
                f"Damage of {title}",
                "W3C Web Annotations, in millimetres of the page",
                "application/ld+json",
            )

    def _originals(self, bag: Bag) -> None:
        have = set(self.studio.blobs.all())
        more = self.perhaps & have if self.wish.item else have
        names = dict.fromkeys(more, "") | self.named
        for done, (name, media) in enumerate(sorted(names.items()), 1):
            if name not in have:
                raise StudioError(
                    f"the original of {self.words.get(name, 'a record')} ({name[:12]}…) is "
                    "missing; no archive was made. Restore it from a backup first"
                )
            place = record_files.original_path(name, media)
            kept = bag.add_chunks(place, self.studio.blobs.chunks(name))
            if kept.sha256 != name:
                raise StudioError(
                    f"the original {name[:12]}… is no longer the file that was taken in; no "
                    "archive was made. Restore that file from a backup, then run: quirewell studio "
                    "check"
                )
            says = self.words.get(name, "a file kept beside the record")
            self._keep(kept, says, "an original, byte for byte as it was taken in", media)
            self.made.originals += 1
            self.made.originals_bytes += kept.bytes
            self.progress("originals copied", done, len(names))

    def _reports(self, bag: Bag) -> None:
        folder = self.studio.folder / "reports"
        if self.wish.item and not self.wish.with_private:
            return
        for place in sorted(folder.glob("*")) if folder.is_dir() else ():
            if place.is_symlink() or not place.is_file() or not self._wanted(place):
                continue
            says = "a report as it was written"
            if place.suffix == ".json":
                says = "every number of the report beside it, with what it came from"
            name = record_files.report_name(place.name)
            if name != place.name:
                self.renamed[name] = place.name
            self._keep(bag.add_file(f"reports/{name}", place), place.name, says)

    def _wanted(self, place: Path) -> bool:
        """Whether a file of the reports' folder belongs to the item asked for."""
        if not self.wish.item:
            return True
        manifest = place.with_suffix(".json")
        try:
            said = json.loads(manifest.read_text("utf-8"))
        except (OSError, ValueError):
            return False
        return isinstance(said, dict) and said.get("item") == self.wish.item

    def _pictures(self, bag: Bag) -> None:
        """Tiles, one picture after another, then a manifest an item."""
        cutter = Cutter(self.rough / "tiles", self.wish.base, self.wish.workers)
        try:
            for state in self.pictured:
                hashes = {one.sha256: one.filename for one in state.captures.values()}
                if self.wish.tiles:
                    for cut in cutter.cut(hashes, self.studio.blobs.held, self.progress):
                        self._tiles(bag, cut.sha256, hashes[cut.sha256], cut.folder)
                self._manifest(bag, state, cutter.shown)
        finally:
            cutter.close()
        self.made.notes += cutter.notes

    def _tiles(self, bag: Bag, sha256: str, filename: str, folder: Path) -> None:
        inside = iiif.images_path(sha256)
        for place in sorted(path for path in folder.rglob("*") if path.is_file()):
            kept = bag.add_file(f"{inside}/{place.relative_to(folder).as_posix()}", place)
            if place.name == "info.json":
                says = "IIIF Image 3: the size of the picture and which tiles there are"
                self._keep(kept, f"About the tiles of {filename}", says, "application/ld+json")
        says = f"IIIF Image 3, level 0, made from the original {sha256}"
        part = f"{inside}/info.json"
        self.told.append(crate.Told(f"{inside}/", f"Tiles of {filename}", says, part=part))

    def _manifest(self, bag: Bag, state: ItemState, shown: Mapping[str, iiif.Shown]) -> None:
        name = record_files.file_name(state.id)
        also = [
            {"path": f"record/{name}.json", "format": "application/json", "label": "The record"},
            {"path": "tables/csv-metadata.json", "format": "application/csvm+json",
             "label": "The record as tables"},
        ]  # fmt: skip
        if state.defects:
            also.append({"path": f"annotations/{name}.json", "format": "application/ld+json",
                         "label": "Damage as annotations"})  # fmt: skip
        said = iiif.manifest(state, self.wish.base, shown, also, self.wish.licence)
        text = json.dumps(said, ensure_ascii=False, indent=1) + "\n"
        self._keep(bag.add_text(f"iiif/{name}/manifest.json", text),
                   f"Pictures of {state.item.title}", "IIIF Presentation 3 manifest",
                   "application/ld+json")  # fmt: skip

    def _about(self, bag: Bag) -> None:
        """What the archive says of itself, and the tag files."""
        made, wish, settings = self.made, self.wish, self.studio.settings
        if wish.item:
            made.left_out = LEFT_OUT[:1] if wish.with_private else LEFT_OUT
        if not wish.tiles:
            made.left_out += ("pictures in tiles; the originals are here",)
        at = instant_text(self.studio.clock())
        title = f"Treatment record of {wish.item}" if wish.item else f"The studio {settings.name}"
        says = (
            f"{made.entries} journal entries, {made.items} items and {made.originals} originals"
            f"{f', {made.withheld} entries withheld in part or whole' if made.withheld else ''}."
        )
        base, whole = wish.base, not wish.item
        text = readme(title, says, made.head, base, made.left_out, whole, base == iiif.BASE)
        self._keep(bag.add_text("README.txt", text), "How to read this", "plain words")
        said = {
            "format": FORMAT, "format_version": FORMAT_VERSION, "program_version": __version__,
            "scope": "item" if wish.item else "studio", "item": wish.item,
            "studio": settings.name, "made_at": at, "head": made.head, "entries": made.entries,
            "withheld": made.withheld, "with_private": wish.with_private or not wish.item,
            "left_out": list(made.left_out), "base": base, "reports_named": self.renamed,
        }  # fmt: skip
        self._keep(
            bag.add_text(ARCHIVE, json.dumps(said, indent=1, ensure_ascii=False) + "\n"),
            "What this archive holds",
            "scope, head of the journal, what was left out",
        )
        program = f"quirewell {__version__}"
        about = crate.About(title, says, at, program, made.head, wish.licence, settings.name)
        bag.add_text(crate.CRATE, crate.crate_text(about, self.told))
        bag.close(
            [
                ("Source-Organization", settings.name), ("Bagging-Date", at[:10]),
                ("External-Description", f"{title}. {says}"),
                ("External-Identifier", made.head), ("Bag-Software-Agent", program),
                ("Journal-Head", made.head), ("Journal-Entries", str(made.entries)),
                ("Archive-Scope", "item" if wish.item else "studio"),
            ]
        )  # fmt: skip
        made.files, made.bytes = len(bag.payload), sum(one.bytes for one in bag.payload)


def _hashes(value: Any) -> Iterator[str]:
    """Every text in a body that is written like the name of an original."""
    if isinstance(value, str):
        if is_sha256(value):
            yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _hashes(one)
    elif isinstance(value, list):
        for one in value:
            yield from _hashes(one)
