"""``README.txt`` in every studio: what lies there, and how to read it without this program."""

from __future__ import annotations

import contextlib
from pathlib import Path

from quirewell.studio.address import address_of
from quirewell.studio.durable import write_whole
from quirewell.studio.faults import StudioError
from quirewell.studio.where import table

README = "README.txt"

_TEXT = """\
A QUIREWELL STUDIO
==================
Everything in this folder can be read without the program that wrote it.

{database}
originals/ab/HASH   Every picture byte for byte as it was taken in. Its name is its SHA-256, its
                    folder the first two signs of it.{originals}
derived/            Tiles, plates and copies. May be deleted; they are made again.
backups/            Copies of the database from before its tables were changed.
keys/ log/          Of this machine: passphrases as hashes, settings, what the program did. No part
                    of the record.
studio.toml         Only where database or originals lie elsewhere: says where.

THE RECORD
Table "journal" holds the truth, an entry a row; entries only ever follow.
  seq      number of the entry, from 1 without a gap
  stream   the item (or "studio": the bench, the books, the practice)
  version  number of the entry within its stream
  kind     what happened: capture.added, reading.taken, step.done ...
  body     the particulars, as JSON; numbers are decimal text, as they were typed or computed
  at       when, in UTC; zone is the bench's time zone
  actor    by whom
  prev     hash of the entry before; 64 noughts in the first
  hash     SHA-256 of prev, a line feed, and this entry in JSON (keys sorted, no
           spaces, every number as text)
An entry that was taken back is named by a later event.undone (its field "seq"), a record that was
struck out by record.retracted (its field "id"). Of entries with one id in one stream the last
holds. Every other table is made from the journal and can be made again.

IS IT AS IT WAS WRITTEN? WHAT DOES EACH PICTURE SHOW?
Python 3 and nothing else, started in this folder with the program closed (or on a copy):

    import hashlib, json, sqlite3
    last = "0" * 64
    names = "seq stream version kind body at zone actor prev hash".split()
    rows = sqlite3.connect("studio.db").execute(
        "SELECT " + ", ".join(names) + " FROM journal ORDER BY seq")
    for row in rows:
        e = dict(zip(names, row))
        e["body"] = json.loads(e["body"])
        e["seq"], e["version"] = str(e["seq"]), str(e["version"])
        prev, said = e.pop("prev"), e.pop("hash")
        text = json.dumps(e, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        true = hashlib.sha256((prev + "\\n" + text).encode()).hexdigest()
        assert prev == last and true == said, e["seq"]
        last = said
        if e["kind"] == "capture.added":
            one = e["body"]
            print(one["sha256"], e["stream"], one["place"], one["moment"], one["filename"])
    print("as it was written, ends with", last)

Keep that last hash on paper, or with somebody else: it stands for everything before it.
"""

_HERE = """\
studio.db           The database: SQLite 3, any tool for it will do. studio.db-wal and studio.db-shm
                    belong to it while it is open; copy all three or close the program first."""
_ELSEWHERE = """\
The database        lies on a PostgreSQL server; studio.toml says which. Its tables are the same,
                    and each backup of this studio holds them as a file of SQLite 3."""
_AWAY = """ New ones lie elsewhere;
                    studio.toml says where."""


def write_readme(folder: Path) -> None:
    """Put ``README.txt`` into a studio's folder where it is missing or says something else.

    A folder that cannot be written is left as it is: this is no part of the record.
    """
    with contextlib.suppress(StudioError, OSError):
        text = readme(address_of(folder) is None, not table(folder, "originals")).encode()
        target = folder / README
        if not target.is_file() or target.read_bytes() != text:
            write_whole(target, text)


def readme(here: bool = True, originals_here: bool = True) -> str:
    """The text. ``here``: the database lies in the folder; ``originals_here``: so do originals."""
    return _TEXT.format(
        database=_HERE if here else _ELSEWHERE, originals="" if originals_here else _AWAY
    )
