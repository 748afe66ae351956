"""The short form of ``make fuzz``: a few hundred bad files of each kind, and that it can fail."""

from __future__ import annotations

import pytest

from fuzz import files, pictures
from fuzz.readers import Door, by_kind, doors, fault_of
from quirewell.jobs.limited import LimitedWorkers

# Seeds that are refused on purpose: readers share them.
KINDS = ("csv", "cgats", "toml", "json")


@pytest.mark.parametrize("door", doors(), ids=lambda door: door.name)
def test_every_seed_is_read_well(door: Door) -> None:
    for data in door.seeds:
        did, says = fault_of(door, data)
        assert did == "read" or (door.name, did) == ("card by file", "refused"), says


@pytest.mark.parametrize("kind", KINDS)
def test_bad_files_are_read_or_refused_in_a_sentence(kind: str) -> None:
    found = files.texts(kind, by_kind()[kind], 600, seed=2)
    assert found.faults == []
    assert found.did["read"] > 20 and found.did["refused"] > 200


def test_a_reader_with_a_fault_is_found() -> None:
    def careless(data: bytes) -> int:
        return sum(int(line.split(b",")[1]) for line in data.splitlines())

    seed = b"a,1\nb,22\nc,333\n"
    found = files.texts("csv", (Door("careless", "csv", (seed,), careless),), 60)
    kinds = {says.partition(":")[0] for _, says, _ in found.faults}
    assert "IndexError" in kinds and any("library's words" in one for one in kinds)


def test_bad_pictures_are_read_or_refused_in_a_sentence() -> None:
    workers = LimitedWorkers(1)
    try:
        found = files.images(workers, 350, seed=2)
    finally:
        workers.close()
    assert found.faults == []
    assert found.did["read"] > 20 and found.did["refused"] > 100


def test_a_decoder_that_dies_in_a_batch_costs_its_own_file_only(tmp_path) -> None:
    kinds = pictures.seeds()
    paths = []
    for number in range(9):
        paths.append(tmp_path / f"{number}.png")
        paths[-1].write_bytes(kinds["png"][0])
    deadly = paths[4]
    workers = LimitedWorkers(1)
    whole = workers.call

    def planted(task: str, given: list[str], limit_s: float) -> object:
        if str(deadly) in given:
            return whole("job_tasks.crash_on", given[0], limit_s=limit_s)
        return whole(task, given, limit_s=limit_s)

    workers.call = planted  # type: ignore[method-assign,assignment]
    try:
        did = [one[0] for one in pictures.look(workers, paths)]
    finally:
        workers.close()
    assert did == ["read"] * 4 + ["lost"] + ["read"] * 4
