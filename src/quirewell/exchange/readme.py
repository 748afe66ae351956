"""The page of plain words that lies in every archive: how to read it without this program."""

from __future__ import annotations

from collections.abc import Sequence

_TEXT = """\
{title}
{line}
{says}

This folder is a BagIt bag (RFC 8493) and can be read with any text editor, spreadsheet and
picture viewer. Nothing of it needs the program that wrote it.

journal.jsonl      The truth. Every line is one entry in JSON: what happened (kind, body), to what
                   (stream), when (at, in UTC), by whom. Numbers are decimal text. Entries only
                   ever follow; one that was taken back is named by a later "event.undone".
record/            What the entries make true, an item a file, in JSON.
tables/            The same as CSV (comma, UTF-8, first line the names). csv-metadata.json says the
                   type and unit of each column and how the tables hang together (CSVW).
                   Import all columns as text: a cell may begin with = + - @ and is no formula.
originals/         Every picture byte for byte as it was taken in. The name is its SHA-256;
                   tables/captures.csv says what it shows (columns sha256, filename, place, moment).
reports/           Reports as they were written, each with the list of its numbers.
annotations/       Damage on the pages, as W3C Web Annotations, in millimetres of the page.
iiif/              Pictures in tiles (IIIF Image 3, level 0) and a manifest an item (IIIF
                   Presentation 3). They name the address {base}
{serve}
ro-crate-metadata.json   What every file here is (RO-Crate 1.3).
archive.json       What this archive holds and what was left out.

Left out
{left_out}

Is everything as it was?
  In the folder above this one:  sha256sum -c manifest-sha256.txt tagmanifest-sha256.txt
  {chain}
  {head}
  It stands in bag-info.txt too; keep it on paper. This says whether each entry is as it was
  written (Python 3, nothing else, started in this folder):

    import hashlib, json
    last = "0" * 64
    for line in open("journal.jsonl", encoding="utf-8"):
        e = json.loads(line)
        if "withheld" in e: continue
        prev, said = e.pop("prev"), e.pop("hash")
        text = json.dumps(e, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert hashlib.sha256((prev + "\\n" + text).encode()).hexdigest() == said, e["seq"]
{follows}        last = said
    print("as it was written, ends with", last)
"""


def readme(
    title: str, says: str, head: str, base: str, left_out: Sequence[str], whole: bool, local: bool
) -> str:
    """The text of ``README.txt``."""
    serve = "                   on the web; to see them, serve this folder there."
    if local:
        serve = (
            "                   which is this machine, after:  python3 -m http.server 8000\n"
            "                   --bind 127.0.0.1   in this folder."
        )
    return _TEXT.format(
        title=title,
        line="=" * len(title),
        says=says,
        head=head,
        base=base,
        serve=serve,
        left_out="\n".join(f"  {one}" for one in left_out) or "  nothing",
        chain="Each entry names the hash of the one before it. The last hash is"
        if whole
        else "Entries of other items lie between these, so that only each one can be tried by\n"
        "  itself. The last hash of the whole journal, when this was made, was",
        follows="        assert prev == last\n" if whole else "",
    )
