"""Runs in the archive's own environment: what independent readers say of a bag.

Usage: archive_oracle.py BAG [PART ..]; prints JSON {part: [complaint, ..]}. Nothing is asked for
over the network: the crate's context comes from the file that rocrate ships.
"""

from __future__ import annotations

import json
import logging
import sys
import warnings
from pathlib import Path
from typing import Any

SHIPPED = "data/ro-crate.jsonld"
# Advice that asks for what nobody told the program: a licence with a web address, and the web
# address, register number and telephone of the bench.
NOT_TOLD = (
    "A License entity SHOULD have an absolute HTTP(S) URL", "The organization SHOULD have a URL",
    "SHOULD have a ROR identifier", "contactPoint",
)  # fmt: skip


def bagit_says(bag: Path) -> list[str]:
    import bagit

    logging.disable(logging.CRITICAL)
    try:
        opened = bagit.Bag(str(bag))
        opened.validate()
    except bagit.BagError as error:
        details = getattr(error, "details", None) or [error]
        return [str(one) for one in details]
    assert opened.version == "1.0", opened.version
    assert int(opened.info["Payload-Oxum"].split(".")[1]) == len(list(opened.payload_files()))
    return []


def validator_says(bag: Path) -> list[str]:
    """roc-validator with its profile of RO-Crate 1.3: what it requires, and what it advises."""
    import requests
    import rocrate
    from rocrate_validator import services
    from rocrate_validator.models import Severity, ValidationSettings

    context = (Path(rocrate.__file__).parent / SHIPPED).read_bytes()

    def answer(session: Any, method: str, url: str, **_: Any) -> requests.Response:
        if not url.rstrip("/").startswith("https://w3id.org/ro/crate/1.3/context"):
            raise requests.ConnectionError(f"no network in this test: {url}")
        response = requests.Response()
        response.status_code, response._content, response.url = 200, context, url
        response.headers["Content-Type"] = "application/ld+json"
        return response

    requests.Session.request = answer  # type: ignore[method-assign]
    settings = ValidationSettings(
        rocrate_uri=str(bag / "data"), profile_identifier="ro-crate-1.3",
        requirement_severity=Severity.RECOMMENDED, abort_on_first=False,
    )  # fmt: skip
    result = services.validate(settings)
    return [
        f"{one.severity.name}: {one.message} ({one.violatingEntity})"
        for one in result.get_issues(Severity.RECOMMENDED)
        if one.severity != Severity.RECOMMENDED or not any(
            words in str(one.message) for words in NOT_TOLD
        )
    ]  # fmt: skip


def reader_says(bag: Path) -> list[str]:
    from rocrate.rocrate import ROCrate

    try:
        crate = ROCrate(str(bag / "data"))
    except (ValueError, KeyError, FileNotFoundError, TypeError) as error:
        return [f"{type(error).__name__}: {error}"]
    said = []
    if str(crate.version) != "1.3":
        said.append(f"version {crate.version}")
    for one in crate.data_entities:
        if not (bag / "data" / one.id).exists():
            said.append(f"{one.id} is described and not there")
    if len(list(crate.data_entities)) < 10:
        said.append("hardly any file is described")
    return said


def csvw_says(bag: Path) -> list[str]:
    from csvw import TableGroup

    said: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            group = TableGroup.from_file(bag / "data" / "tables" / "csv-metadata.json")
            for table in group.tables:
                list(table)  # each cell by its datatype
                if not table.check_primary_key():
                    said.append(f"{table.url}: two rows have one key")
            if not group.check_referential_integrity():
                said.append("a foreign key leads nowhere")
        except Exception as error:  # whatever it raises is its way of saying no
            said.append(f"{type(error).__name__}: {error}")
    return said + [str(one.message) for one in caught]


def csvwvalidate_says(bag: Path) -> list[str]:
    import subprocess

    tool = Path(sys.executable).with_name("csvwvalidate")
    ran = subprocess.run(
        [tool, bag / "data" / "tables" / "csv-metadata.json"], capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    return [] if ran.returncode == 0 and "OK" in ran.stdout else [ran.stdout + ran.stderr]


def iiif_says(bag: Path) -> list[str]:
    import iiif_prezi3
    from pydantic import ValidationError

    said = []
    for place in sorted((bag / "data" / "iiif").glob("*/manifest.json")):
        try:
            manifest = iiif_prezi3.Manifest(**json.loads(place.read_text("utf-8")))
        except (ValidationError, ValueError, TypeError) as error:
            said.append(f"{place.parent.name}: {error}")
            continue
        if not manifest.items:
            said.append(f"{place.parent.name} has no canvas")
    return said


def annotations_say(bag: Path) -> list[str]:
    import jsonschema

    schema = json.loads(Path(__file__).with_name("annotation_profile.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    judge = jsonschema.Draft202012Validator(schema)
    return [
        f"{place.name}: {fault.json_path}: {fault.message[:200]}"
        for place in sorted((bag / "data" / "annotations").glob("*.json"))
        for fault in judge.iter_errors(json.loads(place.read_text("utf-8")))
    ]


PARTS = {
    "bagit": bagit_says, "validator": validator_says, "rocrate": reader_says, "csvw": csvw_says,
    "csvwvalidate": csvwvalidate_says, "iiif": iiif_says, "annotations": annotations_say,
}  # fmt: skip


def main() -> None:
    """Ask the parts named, or all."""
    bag = Path(sys.argv[1])
    print(json.dumps({name: PARTS[name](bag) for name in sys.argv[2:] or PARTS}))


if __name__ == "__main__":
    main()
