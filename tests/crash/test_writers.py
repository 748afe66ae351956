"""The table of everything in the program that writes a file, and how each stays whole."""

from __future__ import annotations

import pytest

from crash import writers

# By the one way: hidden name, sync, rename, sync of the folder (studio/durable.py).
DURABLE = {"placed", "scratch", "write_whole", "write_private", "open_writer", "sqlite3.connect"}
# With an order of its own, asserted in test_order.py or by the tests of that module.
ORDERED = {"open", "replace", "rename", "write_whole", "os.open", "os.fdopen", "placed", "ZipFile",
           "sqlite3.connect"}  # fmt: skip
# Inside a hidden folder that another module gives its name once it is whole and synced.
INSIDE = {"open", "write_bytes", "write_text", "save", "ZipFile", "placed", "replace",
          "tempfile.TemporaryDirectory"}  # fmt: skip
# Made again whenever it is missing: whole by a rename, without a sync; lost, nothing is lost.
MADE_AGAIN = {"replace", "write_bytes", "write_text", "open", "save", "savez_compressed",
              "shutil.copyfile"}  # fmt: skip
# Gone when the work is over.
PASSING = {"tempfile.TemporaryDirectory", "tempfile.TemporaryFile", "tempfile.mkdtemp", "open",
           "write_bytes", "write_text", "shutil.copyfile", "touch", "replace",
           "os.open"}  # fmt: skip
# Files that the builder of the invented example draws.
EXAMPLE = {"tempfile.TemporaryDirectory", "TemporaryDirectory", "write_text", "save", "imwrite",
           "shutil.copytree"}  # fmt: skip

TABLE = {
    "cli/damage.py": DURABLE, "cli/grade.py": DURABLE, "cli/paper.py": DURABLE,
    "cli/plan.py": DURABLE, "cli/report.py": DURABLE, "cli/sheet.py": DURABLE,
    "cli/survey.py": DURABLE, "exchange/make.py": DURABLE, "report/treatment.py": DURABLE,
    "web/archives.py": DURABLE, "web/copies.py": DURABLE,
    "studio/address.py": DURABLE, "studio/backup.py": DURABLE, "studio/copying.py": DURABLE,
    "studio/database.py": DURABLE, "studio/keys.py": DURABLE, "studio/own_settings.py": DURABLE,
    "studio/readme.py": DURABLE, "studio/where.py": DURABLE, "web/certificate.py": DURABLE,
    "web/links.py": DURABLE, "web/passphrase.py": DURABLE, "web/sessions.py": DURABLE,
    "cli/parcels.py": DURABLE | {"os.open"},  # the place where nothing goes
    "studio/blobs.py": ORDERED, "studio/durable.py": ORDERED, "studio/moved.py": ORDERED,
    "studio/keep_make.py": ORDERED, "studio/keep_place.py": ORDERED,
    "studio/keep_pool.py": ORDERED, "studio/keep_rotate.py": ORDERED,
    "studio/locks.py": ORDERED, "studio/stores.py": ORDERED, "stages/collection_rows.py": ORDERED
    | {"pq.write_table"}, "stages/collection_run.py": ORDERED,
    "exchange/record_files.py": INSIDE, "exchange/share.py": INSIDE,
    "exchange/share_film.py": INSIDE, "exchange/share_pictures.py": INSIDE,
    "exchange/share_plates.py": INSIDE, "studio/archive.py": INSIDE,
    "studio/moving_in.py": INSIDE | {"sqlite3.connect"},
    "report/plates.py": MADE_AGAIN, "stages/matching.py": MADE_AGAIN,
    "stages/pair_pictures.py": MADE_AGAIN, "stages/pair_shots.py": MADE_AGAIN,
    "stages/pair_tiles.py": MADE_AGAIN, "stages/relief_layers.py": MADE_AGAIN,
    "stages/tasks.py": MADE_AGAIN, "studio/images.py": MADE_AGAIN, "studio/tiles.py": MADE_AGAIN,
    "studio/originals_cache.py": MADE_AGAIN, "web/routes/pairs.py": MADE_AGAIN,
    "web/routes/pictures.py": MADE_AGAIN, "web/routes/share.py": MADE_AGAIN,
    "jobs/limited.py": PASSING, "exchange/look_over.py": PASSING, "report/typeset.py": PASSING,
    "report/typesetting.py": PASSING,
    "stages/parcel_job.py": PASSING, "stages/plan_search.py": PASSING, "web/planning.py": PASSING,
    "web/routes/bench.py": PASSING, "web/routes/press_bench.py": PASSING,
    "web/routes/prove.py": PASSING,  # a report under its working name takes its own
    "demo/bench.py": EXAMPLE, "demo/build.py": EXAMPLE, "demo/dummy.py": EXAMPLE,
    "demo/photographs.py": EXAMPLE, "demo/real.py": EXAMPLE, "demo/scans.py": EXAMPLE,
    "demo/store_log.py": EXAMPLE,
}  # fmt: skip


def test_every_module_that_writes_files_is_in_the_table() -> None:
    found = writers.found()
    new = sorted(set(found) - set(TABLE))
    assert not new, (
        f"{new} write files ({[sorted(found[name]) for name in new]}) and are not in the table. "
        "Let what must last go through studio/durable.py, then enter the module here"
    )


@pytest.mark.parametrize("name", sorted(TABLE))
def test_each_writes_in_its_own_way_only(name: str) -> None:
    assert writers.found_in(name) <= TABLE[name], name


def test_the_search_sees_what_it_must_see() -> None:
    assert writers.calls_in(
        "from quirewell.studio.durable import placed\n"
        "def f(p, q):\n"
        "    with placed(p) as part: part.write_bytes(b'')\n"
        "    p.open('xb'); open(p, mode='w'); p.replace(q); os.replace(p, q)\n"
        "    p.open(); p.open('rb'); 'a'.replace('b', 'c'); record.replace(value=1)\n"
    ) == {"placed", "write_bytes", "open", "replace", "os.replace"}
