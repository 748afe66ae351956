"""``ro-crate-metadata.json``: what the payload holds, file by file (RO-Crate 1.3)."""

from __future__ import annotations

import json
import mimetypes
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

CRATE = "ro-crate-metadata.json"
PROFILE = "https://w3id.org/ro/crate/1.3"
CONTEXT = f"{PROFILE}/context"
NO_LICENCE = "#licence-not-given"
_MEDIA = {
    ".jsonl": "application/jsonl", ".json": "application/json", ".csv": "text/csv",
    ".txt": "text/plain", ".pdf": "application/pdf", ".tif": "image/tiff", ".heic": "image/heic",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """A file (or a folder, its path ending in ``/``) of the payload and what it is."""

    path: str
    name: str
    says: str
    sha256: str = ""
    bytes: int = 0
    media: str = ""
    part: str = ""  # of a folder: the file in it that says what the others are


@dataclass(frozen=True, slots=True)
class About:
    """What the whole archive says of itself."""

    name: str
    says: str
    made_at: str
    program: str
    head: str
    licence: str = ""
    bench: str = ""


def media_of(path: str) -> str:
    """Media type by the ending of a name."""
    ending = "." + path.rpartition(".")[2]
    return _MEDIA.get(ending) or mimetypes.guess_type(path)[0] or "application/octet-stream"


def crate(about: About, files: Iterable[Told]) -> dict[str, Any]:
    """The metadata of a crate whose folder is the payload."""
    told = sorted(files, key=lambda one: one.path)
    licence = _licence(about.licence)
    head = {
        "@id": "#journal-head", "@type": "PropertyValue", "name": "head of the journal (SHA-256)",
        "propertyID": "journal-head", "value": about.head,
    }  # fmt: skip
    bench = {"@id": "#bench", "@type": "Organization", "name": about.bench or about.name}
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": about.name,
        "description": about.says,
        "datePublished": about.made_at,
        "license": {"@id": licence["@id"]},
        "publisher": {"@id": bench["@id"]},
        "identifier": {"@id": head["@id"]},
        "hasPart": [{"@id": quote(one.path)} for one in told],
    }
    descriptor = {
        "@id": CRATE,
        "@type": "CreativeWork",
        "conformsTo": {"@id": PROFILE},
        "about": {"@id": "./"},
        "description": f"Written by {about.program}.",
    }
    graph = [descriptor, root, licence, bench, head, *map(_entity, told)]
    return {"@context": CONTEXT, "@graph": graph}


def _licence(given: str) -> dict[str, Any]:
    if not given:
        return {
            "@id": NO_LICENCE,
            "@type": "CreativeWork",
            "name": "No licence was given",
            "description": (
                "Whoever made this archive stated no licence. All rights stay with those who "
                "hold them; ask before any use that needs permission."
            ),
        }
    if given.startswith(("http://", "https://")):
        return {
            "@id": given,
            "@type": "CreativeWork",
            "name": given,
            "description": f"The licence given by whoever made this archive: {given}",
        }
    return {"@id": "#licence", "@type": "CreativeWork", "name": given,
            "description": "The licence in the words of whoever made this archive."}  # fmt: skip


def _entity(one: Told) -> dict[str, Any]:
    said: dict[str, Any] = {
        "@id": quote(one.path), "@type": "Dataset" if one.path.endswith("/") else "File",
        "name": one.name, "description": one.says,
    }  # fmt: skip
    if one.part:
        said["hasPart"] = {"@id": quote(one.part)}
    if not one.path.endswith("/"):
        said |= {"encodingFormat": one.media or media_of(one.path),
                 "contentSize": str(one.bytes), "sha256": one.sha256}  # fmt: skip
    return said


def crate_text(about: About, files: Iterable[Told]) -> str:
    """The file's text."""
    return json.dumps(crate(about, files), indent=1, ensure_ascii=False) + "\n"
