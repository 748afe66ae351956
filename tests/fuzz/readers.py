"""Every reader of text from outside, with files it reads well."""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import annotated
from quirewell.exchange.journal_file import Line, read_line
from quirewell.exchange.tables import read_rows
from quirewell.record.apply import RecordError, apply
from quirewell.record.bench import EMPTY_BENCH
from quirewell.record.canonical import canonical
from quirewell.record.page_path import read_path
from quirewell.record.plain_data import json_data
from quirewell.record.regions import read_region, write_region
from quirewell.record.shapes import read_shapes
from quirewell.report import manifest
from quirewell.report.annotations import damage_annotations
from quirewell.report.languages import read_words
from quirewell.science.colour.cgats import read_cgats
from quirewell.science.colour.tone_card import card_text, read_card
from quirewell.science.condition.scale import TRADE
from quirewell.stages.annotation_table import read_annotations, take_annotations
from quirewell.stages.bid_text import read_offer
from quirewell.stages.column_match import table_text
from quirewell.stages.defect_table import read_defects, read_returns
from quirewell.stages.equivalence_table import read_pairs
from quirewell.stages.grid import pasted
from quirewell.stages.hole_table import read_holes
from quirewell.stages.instrument import readings_in
from quirewell.stages.item_entry import look_items
from quirewell.stages.lamp_text import read_lamps
from quirewell.stages.ordering import read_pages
from quirewell.stages.parcel_service import read_service
from quirewell.stages.parcel_text import read_plan as read_parcels
from quirewell.stages.plan_text import read_plan
from quirewell.stages.press_entry import params_of, read_pressing
from quirewell.stages.recipe_text import read_course, write_course
from quirewell.stages.refusal import Refusal
from quirewell.stages.returns_view import read_returned
from quirewell.stages.rule_table import built_in, read_rules, read_scale
from quirewell.stages.sale_entry import look
from quirewell.stages.sale_table import read_rates, read_sales
from quirewell.stages.tone_cards import card_from_text
from quirewell.stages.tray_readings import read_lines as read_tray
from quirewell.stages.trial_cells import line_text
from quirewell.stages.trial_cells import read_lines as read_trial
from quirewell.stages.weigh_file import read_items
from quirewell.stages.width_table import read_steps, read_widths
from quirewell.studio.backup import MANIFEST, Kept, Manifest, read_manifest
from quirewell.studio.database import DATABASE
from quirewell.studio.faults import StudioError
from quirewell.studio.loggers import parse_log
from quirewell.studio.press_log import read_press_log
from quirewell.web import passphrase, sessions
from studio_help import ITEM, studio_with_item

ROOT = Path(__file__).parents[2]
KNOWN = (ValueError, StudioError, Refusal)
# Said by Python or a library, not by us: nobody is told these.
RAW = (
    "invalid literal", "could not convert", "codec can't", "list index", "unpack", "subscript",
    "has no attribute", "unhashable", "unsupported operand", "Exceeds the limit", "<class",
    "InvalidOperation", "object is not", "out of range for", "must be str", "NoneType",
    "too large to convert", "positional argument", "embedded null", "tuple index",
    "hour must be in", "day is out of", "isoformat", "recursion",
)  # fmt: skip
RAW_KINDS = ("UnicodeDecodeError", "UnicodeEncodeError", "JSONDecodeError", "TOMLDecodeError")


@dataclass(frozen=True)
class Door:
    """A reader of one kind of file; ``again`` writes what was read and reads it back alike."""

    name: str
    kind: str
    seeds: tuple[bytes, ...]
    read: Callable[[bytes], Any]
    again: Callable[[Any], bool] | None = None


def fault_of(door: Door, data: bytes) -> tuple[str, str]:
    """What a reader did with a file: "read", "refused", or the fault, and what it said."""
    try:
        value = door.read(data)
    except KNOWN as error:
        says = _said(error)
        kind = type(error).__name__
        if not says.strip():
            return "fault", f"{kind} says nothing"
        if kind in RAW_KINDS or any(raw in says for raw in RAW):
            return "fault", f"{kind} in a library's words: {says[:300]}"
        if len(says) > 20_000:
            return "fault", f"{kind} says {len(says)} signs"
        return "refused", says
    except Exception as error:
        return "fault", f"{type(error).__name__}: {str(error)[:300]}"
    if door.again is not None and not door.again(value):
        return "fault", "written and read again it is another"
    return "read", ""


def _said(error: Exception) -> str:
    if isinstance(error, Refusal):
        return " ".join(problem.says for problem in error.problems)
    return str(error)


def _text(data: bytes) -> str:
    """As files are decoded; lone surrogates, which a form's JSON may hold, stay."""
    try:
        return data.decode("utf-8", "surrogatepass").removeprefix("\ufeff")
    except UnicodeDecodeError:
        return data.decode("utf-8", "replace")


def _of_text(read: Callable[[str], Any]) -> Callable[[bytes], Any]:
    return lambda data: read(_text(data))


def _of_upload(read: Callable[[str], Any]) -> Callable[[bytes], Any]:
    return lambda data: read(table_text(data))


@cache
def _folder() -> Path:
    held = tempfile.TemporaryDirectory(prefix="quirewell-fuzz-")
    _kept.append(held)
    return Path(held.name)


_kept: list[Any] = []


def _of_file(read: Callable[[Path], Any], name: str) -> Callable[[bytes], Any]:
    def done(data: bytes) -> Any:
        path = _folder() / name
        path.write_bytes(data)
        return read(path)

    return done


def _of_kept(read: Callable[[Path], Any], name: str) -> Callable[[bytes], Any]:
    """A private file of a studio, its keys beside it."""

    def done(data: bytes) -> Any:
        path = _folder() / name
        path.write_bytes(data)
        path.chmod(0o600)
        return read(path)

    return done


class _Held:
    """A backup that holds one manifest."""

    path = Path("backup")

    def __init__(self, data: bytes) -> None:
        self._data = data

    def read(self, name: str, most: int) -> bytes:
        assert name == MANIFEST
        return self._data[:most]


def _files(*names: str) -> tuple[bytes, ...]:
    return tuple((ROOT / "examples" / name).read_bytes() for name in names)


def _courses() -> tuple[bytes, ...]:
    folder = ROOT / "src/quirewell/stages/recipes"
    return tuple(path.read_bytes() for path in sorted(folder.glob("*.toml")))


def _log() -> bytes:
    rows = "".join(f"2026-01-{n // 24 + 1:02d} {n % 24:02d}:00,{18 + n % 5}.2,{45 + n % 7}\n"
                   for n in range(60))  # fmt: skip
    return f"Time,Temperature (C),RH (%)\n{rows}".encode()


def _other_log() -> bytes:
    rows = "".join(f"{n // 24 + 20}.1.2026 {n % 24}:00;{18 + n % 5},2;{45 + n % 7}\n"
                   for n in range(60))  # fmt: skip
    return f"Logger 7\nserial; 12\n\nZeit;Temp. [\u00b0C];rel. Feuchte [%]\n{rows}".encode()


_NM = range(400, 701, 10)
_SPECTRUM = (
    f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_NAME {' '.join(f'SPECTRAL_NM{nm}' for nm in _NM)}\n"
    f"END_DATA_FORMAT\nBEGIN_DATA\nleaf {' '.join(f'{30 + nm % 31}.5' for nm in _NM)}\nEND_DATA\n"
).encode()
_TARGET = (
    b'IT8.7/2\nORIGINATOR "our own bench"\nDESCRIPTOR "Reflective" # a remark\nKEYWORD "MYKEY"\n'
    b'MYKEY "yes"\nNUMBER_OF_FIELDS 7\nBEGIN_DATA_FORMAT\nSAMPLE_ID XYZ_X XYZ_Y XYZ_Z\nLAB_L LAB_A '
    b"LAB_B\nEND_DATA_FORMAT\nNUMBER_OF_SETS 2\nBEGIN_DATA\nA1 48.744 49.887 35.728 76.0 4.0 20.0\n"
    b'"A 2" 28.922 28.123 14.672\n  60.0 9.0 28.0\nEND_DATA\n'
)
_CARD = (
    b"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n"
    b"white 92 0 4\ncream 85 2 14\ntan 76 5 22\nEND_DATA\n"
)


@cache
def _lines() -> tuple[bytes, ...]:
    """Lines of a small studio's journal, as an archive holds them."""
    with tempfile.TemporaryDirectory() as folder:
        studio = studio_with_item(Path(folder) / "s")
        from studio_help import capture, defect, step

        studio.append(ITEM, None, [defect(), step(), capture()])
        studio.append(ITEM, None, [defect("defect-2", extent="3 mm")])
        out = tuple(Line(event).text().encode() for event in studio.events())
        studio.close()
    return out


@cache
def _state() -> Any:
    with tempfile.TemporaryDirectory() as folder:
        studio = studio_with_item(Path(folder) / "s")
        state = studio.state(ITEM)
        studio.close()
    return state


def _entry(data: bytes) -> Any:
    """A journal line, and what it makes true of an item."""
    event = read_line(data).event
    try:
        return apply(_state() if event.kind != "item.opened" else None, event)
    except RecordError as error:
        return str(error)


def _body(data: bytes) -> Any:
    """The body of an entry, whatever its line: a forged chain may hold any."""
    said = json_data(data.decode("utf-8", "replace"))
    if not isinstance(said, dict) or not isinstance(said.get("body"), dict):
        return None
    said = {**json.loads(_lines()[-1]), **{k: said[k] for k in ("kind", "body") if k in said}}
    said = {key: str(value) if key != "body" else value for key, value in said.items()}
    return _entry(canonical(said).encode())


def _tolerant(read: Callable[[bytes], Any]) -> Callable[[bytes], Any]:
    """A door behind JSON that the caller parses: what is no JSON is none of its business."""

    def done(data: bytes) -> Any:
        try:
            return read(data)
        except (UnicodeError, RecursionError):
            raise ValueError("it is no JSON") from None

    return done


def _words_of(name: str) -> Any:
    return lambda path: read_words(path)


def _annotations() -> bytes:
    return json.dumps(damage_annotations(annotated.many_kinds())).encode()


def _same_annotations(_: Any) -> bool:
    state = annotated.many_kinds()
    return set(read_annotations(_annotations(), "annual")) == set(state.defects.values())


def _sales_file(_: str) -> str:
    return _files("weigh/sales.csv")[0].decode()


def _manifest_seed() -> bytes:
    files = (Kept(DATABASE, "b" * 64, 12), Kept("originals/aa/" + "a" * 64, "a" * 64, 3))
    said = Manifest("bench", "2026-03-01T10:00:00Z", 3, "a" * 64, 1, files)
    return json.dumps(said.as_json()).encode()


def _report_seed() -> bytes:
    said = {"format": manifest.FORMAT, "format_version": manifest.FORMAT_VERSION, "report": "r1",
            "item": ITEM, "head": "a" * 64, "head_seq": 3, "pdf_sha256": "b" * 64,
            "numbers": [{"text": "1.0 mm", "quantity": "leaf.width", "refs": ["r#1"]}]}  # fmt: skip
    return json.dumps(said).encode()


_SESSIONS = json.dumps([{"id": "s1", "token": "a" * 64, "under": "b", "name": "tablet",
                         "began": "2026-03-01T10:00:00+00:00",
                         "seen": "2026-03-01T11:00:00+00:00"}]).encode()  # fmt: skip
_PASS = json.dumps({"salt": "aa" * 16, "hash": "bb" * 32, "n": 16384, "r": 8, "p": 1}).encode()


def _kept_passphrase(data: bytes) -> Any:
    folder = _folder() / "keys-of"
    folder.mkdir(exist_ok=True)
    path = passphrase.keys_folder(folder) / passphrase.FILE
    path.write_bytes(data)
    path.chmod(0o600)
    return passphrase.kept_passphrase(folder)


def _pressing(data: bytes) -> Any:
    return read_pressing(params_of(_text(data), "stack.toml"))


def _same_course(course: Any) -> bool:
    return read_course(write_course(course), course.edition) == course


def _same_trial(lines: Any) -> bool:
    return read_trial("\n".join(line_text(line) for line in lines)) == lines


def _same_region(region: Any) -> bool:
    return region is None or write_region(read_region(write_region(region))) == write_region(region)


def _same_card(card: Any) -> bool:
    return card_text(read_card(card_text(card))) == card_text(card)


def doors() -> tuple[Door, ...]:
    """Every reader."""
    sales = _files("buying/sales.csv", "worth/sales.csv", "worth/old-spreadsheet.csv")  # fmt: skip
    defects = _files("condition/defects.csv", "weigh/creased.csv")
    returned = b"item,grade,chances\ni1,5,4:0.3 5:0.7\ni2,6.5,6:0.2 6.5:0.5 7:0.3\n"
    annual = (
        b"title,year,paid,day,grade,value,place,note\nCopperbeck Garden Annual,1936,12.50,"
        b"2026-02-01,5,40,shelf 2,ours\nCopperbeck Garden Annual,1937,9,2026-02-03,4.5,30,,\n"
    )
    grid = b"sheet\twidth\theight\tpH\tnote\n3\t184.5\t260\t6.1\ttide\ncover\t185\t261\t\t\n"
    rows = b'id,kind,note\r\n1,tear,"a ""long"" one"\r\n2,stain,\r\n'
    path = b"M10,12L40,12L40,30Z M 0 0 L 3 4 L 3 9 Z"
    csv, toml = "csv", "toml"
    rules = built_in()
    return (
        Door("sales", csv, sales, _of_text(read_sales)),
        Door("own sales", csv, sales, _of_upload(lambda t: look(EMPTY_BENCH, t, {}))),
        Door("rates", csv, _files("worth/rates.csv"), _of_text(read_rates)),
        Door("collection", csv, (annual,), _of_upload(lambda t: look_items(t, {}, ()))),
        Door("returned grades", csv, (returned,), _of_text(read_returned)),
        Door("defects", csv, defects, _of_text(lambda t: read_defects(t, rules))),
        Door("returns", csv, _files("condition/returns.csv"),
             _of_text(lambda t: read_returns(t, rules, TRADE))),
        Door("rules", csv, _files("condition/own-rules.csv"),
             _of_text(lambda t: read_rules(t, rules))),
        Door("scale", csv, _files("condition/scale.csv"), _of_text(read_scale)),
        Door("pairs", csv, _files("evidence/pairs.csv"), _of_text(read_pairs)),
        Door("holes", csv, _files("rejoin/holes.csv"), _of_text(read_holes)),
        Door("widths", csv, _files("rejoin/widths.csv"), _of_text(read_widths)),
        Door("creep steps", csv, (b"leaf,depth_mm\n1,0.31\n2,0.64\n3,0.92\n",),
             _of_text(read_steps)),
        Door("pages", csv, _files("rejoin/pages.csv", "rejoin/pages-leaf.csv"),
             _of_text(read_pages)),
        Door("trial", csv, (b"w01 w02 | =10 | =7 | =8 | =5\nw04 w03 | outer.right=6,7 =6 | =6 | =9 "
             b"| =6 | torn\n",), _of_text(read_trial), _same_trial),
        Door("tray", csv, (b"after 0: pH 12,39 @ 20; after 1: pickup 2.4 +- 0.1\nafter 6: 10 mL "
             b"took 2.4 mL of 0.05\nafter 1: dry 9.4 g wet 27.2 g +- 0.05\n",),
             _of_text(read_tray)),
        Door("logger", csv, (_log(), _other_log()), lambda d: parse_log(d, "attic.csv")),
        Door("press log", csv, (b"time_s,centre C,cool cover C\n0,20.1,21\n60,31.5,22.4\n120,39,"
             b"25.9\n", b"minutes;fold (C);RH lower %\n0;20,5;61,0\n1;25,5;62,0\n2,5;30,0;66,0\n"),
             _of_file(read_press_log, "log.csv")),
        Door("archive table", csv, (rows,), lambda d: list(read_rows(io.BytesIO(d)))),
        Door("grid", csv, (grid, grid.replace(b"\t", b";")),
             _of_text(lambda t: pasted(_state(), t))),
        Door("tone card", csv, (b"white 92 0 4\ncream 85 2 14\ntan 76 5 22\nbrown 66 8 27\n",),
             _of_text(read_card), _same_card),
        Door("region", csv, (b"polygon 0,0 9,0 9,9", b"line 0,0 3,4; 9,9 9,8", b"point 3,4.5"),
             _of_text(read_region), _same_region),
        Door("path", csv, (path,), _of_text(read_path), _same_region),
        Door("shapes", csv, (b"1,2 3,4.5 6,7; 0,0 1,1 2,0",), _of_text(read_shapes)),
        Door("colour file", "cgats", (_TARGET, _SPECTRUM), _of_text(read_cgats)),
        Door("readings", "cgats", (_TARGET, _SPECTRUM), _of_text(readings_in)),
        Door("card by file", "cgats", (_CARD, _TARGET), _of_file(card_from_text, "card.txt")),
        Door("bench plan", toml, _files("bench_plan/annual.toml"), _of_text(read_plan)),
        Door("parcels", toml, _files("parcels/annual.toml", "parcels/filler.toml"),
             _of_text(read_parcels)),
        Door("receiver", toml, _files("parcels/annual.toml"), _of_text(read_service)),
        Door("course", toml, _courses(), _of_text(read_course), _same_course),
        Door("stack", toml, _files("stacks/practice.toml", "stacks/case-a.toml",
             "stacks/case-e.toml"), _pressing),
        Door("offer", toml, _files("buying/annual.toml", "buying/little-known.toml"),
             _of_text(lambda t: read_offer(t, _sales_file))),
        Door("options", toml, _files("weigh/annual.toml", "weigh/shelf.toml"),
             _of_text(lambda t: read_items(t, _sales_file))),
        Door("lights", toml, (b"[[lamp]]\nazimuth = 0\nelevation = 20\n[[lamp]]\nazimuth=180\n"
             b"elevation=20\n", b"45, 25 # left\n135;25\n-90 30\n",
             b"[sphere]\nx=100\ny=90.5\nradius=30\n"), _of_text(read_lamps)),
        Door("language", toml, (b'language = "de"\n[words]\n"leaf" = "Blatt"\n',),
             _of_file(read_words, "de.toml")),
        Door("annotations", "json", (_annotations(),), lambda d: read_annotations(d, "annual"),
             _same_annotations),
        Door("annotations taken", "json", (_annotations(),),
             lambda d: take_annotations(annotated.many_kinds(), d)),
        Door("backup's manifest", "json", (_manifest_seed(),),
             lambda d: read_manifest(_Held(d))),  # type: ignore[arg-type]
        Door("report's manifest", "json", (_report_seed(),),
             lambda d: manifest._read_manifest("r.json", d)),
        Door("journal line", "json", _lines(), _entry),
        Door("journal body", "json", _lines(), _tolerant(_body)),
        Door("sessions", "json", (_SESSIONS,), _of_kept(sessions._load, "sessions.json")),
        Door("passphrase", "json", (_PASS,), _kept_passphrase),
    )  # fmt: skip


def by_kind() -> Mapping[str, tuple[Door, ...]]:
    """Doors by the kind of their files."""
    every = doors()
    return {kind: tuple(one for one in every if one.kind == kind)
            for kind in ("csv", "cgats", "toml", "json")}  # fmt: skip
