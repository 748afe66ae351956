"""Share an item: a folder that can be put on any web host, shown at a talk, or sent as a zip.

Nothing is written before every text was searched for what is private, and the folder stands whole
or not at all.
"""

from __future__ import annotations

import html
import re
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from quirewell.exchange.share_film import GIF_SHAPES, SHAPES, film
from quirewell.exchange.share_page import one_file, page, size_words
from quirewell.exchange.share_pictures import LONGEST_PX, Made, make_pictures
from quirewell.exchange.share_plan import Plan, search
from quirewell.exchange.share_plates import SHAPES as PLATES
from quirewell.exchange.share_plates import plate
from quirewell.exchange.share_text import captions_text, readme_text
from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.studio.durable import placed

ONE_FILE = "one-page.html"
_FIXED = (1980, 1, 1, 0, 0, 0)
_DATA = re.compile(r"data:[\w/;,+.-]*base64,[A-Za-z0-9+/=]*")
_TAG = re.compile(r"<[^>]*>")
Says = Callable[[str], None]


class NotShared(RuntimeError):
    """Nothing was written; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Shared:
    """What was written: the folder, its files with their bytes, and the picture size of the one
    file (0 where none was asked for)."""

    folder: Path
    files: tuple[tuple[str, int], ...]
    one_file_px: int

    @property
    def size(self) -> int:
        """Bytes of everything together."""
        return sum(size for _, size in self.files)


def refuse(plan: Plan) -> None:
    """Stop where something speaks against the plan.

    Raises:
        NotShared: with every reason.
    """
    asks = () if plan.wanted.title_seen else plan.asks
    reasons = (*plan.problems, *asks)
    if reasons:
        raise NotShared(" ".join(reasons))


def write_share(
    plan: Plan,
    state: ItemState,
    bench: BenchState | None,
    path_of: Callable[[str], Path],
    folder: Path,
    says: Says = lambda words: None,
) -> Shared:
    """Write the folder; it is made beside its place and moved there when it is whole.

    Raises:
        NotShared: something private would leave, or the folder holds something already.
        NoFilm: no film could be made.
    """
    refuse(plan)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise NotShared(
            f"{folder} holds something already, and nothing is written over; name a new folder."
        )
    folder.parent.mkdir(parents=True, exist_ok=True)
    with placed(folder) as part:
        part.mkdir()
        longest = _fill(plan, state, bench, path_of, part, says)
    names = sorted(path for path in folder.rglob("*") if path.is_file())
    return Shared(
        folder,
        tuple((path.relative_to(folder).as_posix(), path.stat().st_size) for path in names),
        longest,
    )


def _fill(
    plan: Plan,
    state: ItemState,
    bench: BenchState | None,
    path_of: Callable[[str], Path],
    part: Path,
    says: Says,
) -> int:
    made = _pictures(plan, state, path_of, part, says)
    if plan.wanted.plates and made:
        (part / "plates").mkdir()
    for count, one in enumerate(made if plan.wanted.plates else (), 1):
        says(f"plate {count} of {len(made)}")
        for shape in PLATES:
            data = plate(one, plan.title, plan.year, shape)
            (part / "plates" / f"{one.number}-{shape.name}.jpg").write_bytes(data)
    films = _films(plan, made, part, says)
    says("the page")
    texts = {
        "index.html": page(plan, made, part, films[0] if films else None),
        "captions.txt": captions_text(
            plan.title, [(one.number, one.shot.name, one.shot.caption) for one in made]
        ),
        "listing.txt": plan.listing,
    }
    longest = 0
    if plan.wanted.one_file:
        says("the page as one file")
        texts[ONE_FILE], longest = one_file(plan, made)
    texts["README.txt"] = readme_text(_explained(texts, made, films, plan))
    _searched(texts, plan, state, bench)
    for name, text in texts.items():
        (part / name).write_text(text, encoding="utf-8", newline="\n")
    return longest


def _pictures(
    plan: Plan, state: ItemState, path_of: Callable[[str], Path], part: Path, says: Says
) -> list[Made]:
    made = []
    if plan.shots:
        (part / "pictures").mkdir()
    for count, shot in enumerate(plan.shots, 1):
        says(f"picture {count} of {len(plan.shots)}")
        one = make_pictures(shot, f"{count:02d}", state, path_of, part / "pictures", LONGEST_PX)
        if one.files:
            made.append(one)
    return made


def _films(plan: Plan, made: list[Made], part: Path, says: Says) -> list[Path]:
    kind = plan.wanted.film
    of = next((one for one in made if plan.film_of and one.shot.key == plan.film_of.key), None)
    if kind == "none" or of is None or of.before is None or of.after is None or not of.laid:
        return []
    out = []
    for shape, size in (GIF_SHAPES if kind == "gif" else SHAPES).items():
        says(f"the film, {shape}")
        path = part / f"film-{shape}.{kind}"
        film(of.before, of.after, path, size)
        out.append(path)
    return out


def _explained(
    texts: dict[str, str], made: list[Made], films: list[Path], plan: Plan
) -> list[tuple[str, str]]:
    rows = [
        ("index.html", "the page, with a curtain over pages that were compared"),
        ("pictures/", f"{sum(len(one.files) for one in made)} pictures, before and after"),
    ]
    if plan.wanted.plates and made:
        rows.append(("plates/", "each pair on one plate, wide (16:9) and tall (9:16)"))
    rows += [(one.name, "the wipe as a film, without sound") for one in films]
    rows += [
        ("captions.txt", "the captions, to be copied"),
        ("listing.txt", "a listing for a sale that discloses every step"),
    ]
    if ONE_FILE in texts:
        size = size_words(len(texts[ONE_FILE].encode()))
        rows.append((ONE_FILE, f"the same page as one file of {size}, to be sent"))
    return rows


def plain(text: str) -> str:
    """What a person or a search engine can read in a text or page of ours: pictures left out,
    entities resolved, with the attributes of tags and again without any tag."""
    bare = _DATA.sub("", text)
    return f"{html.unescape(bare)}\n{html.unescape(_TAG.sub(' ', bare))}" if "<" in bare else bare


def _searched(
    texts: dict[str, str], plan: Plan, state: ItemState, bench: BenchState | None
) -> None:
    """Look once more through what is to be written, whole."""
    held = search({name: plain(text) for name, text in texts.items()}, plan, state, bench)
    if held:
        first = held[0]
        raise NotShared(
            f"“{first.text}” ({first.what}) stands in {first.where}; nothing was written. Change "
            "the words, in the captions or in the record."
        )


def zipped(shared: Shared, target: Path, root: str = "share") -> Path:
    """The folder as a zip, file after file, with fixed days; the same folder gives the same
    bytes."""
    with placed(target) as part, zipfile.ZipFile(part, "w") as made:
        for name, _ in shared.files:
            about = zipfile.ZipInfo(f"{root}/{name}", _FIXED)
            pressed = name.endswith((".html", ".txt"))
            about.compress_type = zipfile.ZIP_DEFLATED if pressed else zipfile.ZIP_STORED
            about.external_attr = 0o644 << 16
            with (shared.folder / name).open("rb") as source, made.open(about, "w") as out:
                shutil.copyfileobj(source, out, 1 << 20)
    return target
