"""What happened, a line of JSON each, in ``log/`` of the studio's folder; bounded in size.

Nothing private is ever in it: a line holds only the facts named in ``FACTS``, each a number or a
short word of ours. No name, price, note, form, address typed or token; of a fault its kind and the
places in the code it went through, never its message, since that may quote what was typed. It is
off until :func:`begin` is called.
"""

from __future__ import annotations

import contextlib
import json
import logging
import re
import secrets
import sys
import traceback
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any

from quirewell.studio.clock import instant_text
from quirewell.studio.own_settings import LOG

NAME = "quirewell"
MOST_BYTES, FILES = 1_000_000, 5
LEVELS = {"off": logging.CRITICAL + 10, "error": logging.ERROR, "info": logging.INFO,
          "debug": logging.DEBUG}  # fmt: skip
FACTS = frozenset((
    "event", "route", "method", "status", "ms", "bytes", "door", "fault", "kind", "stack", "seq",
    "job", "task", "state", "made", "files", "new_bytes", "missing", "code", "level", "at",
    "version", "python", "sqlite", "system", "revision", "differs", "file_system", "database",
    "workers", "lan", "from_module",
))  # fmt: skip
_WORD = re.compile(r"[\w./{}:<>()+~* -]{0,160}")
_log = logging.getLogger(f"{NAME}.watch")
Fact = int | float | str | bool | tuple[str, ...]


def is_on() -> bool:
    """Whether anything is logged."""
    return bool(logging.getLogger(NAME).handlers)


def told(event: str, level: int = logging.INFO, **facts: Fact) -> None:
    """Write one line; facts that have no place in the log are left out."""
    if is_on() and _log.isEnabledFor(level):
        _log.log(level, event, extra={"facts": {"event": event, **facts}})


def fault(error: BaseException, **facts: Fact) -> str:
    """Write a fault with its stack; the number by which both the line and the person's page can be
    found, such as ``3a91-c04e``; empty while nothing is logged."""
    return fault_of(kinds(error), frames(error), **facts)


def fault_of(kind: str, stack: tuple[str, ...], **facts: Fact) -> str:
    """:func:`fault` of one whose kind and stack were told by another process."""
    if not is_on():
        return ""
    number = secrets.token_hex(4)
    number = f"{number[:4]}-{number[4:]}"
    told("fault", logging.ERROR, fault=number, kind=kind, stack=stack, **facts)
    return number


def kinds(error: BaseException) -> str:
    """Kind of an error and of those it came from."""
    found: list[str] = []
    while error is not None and len(found) < 5:
        found.append(type(error).__name__)
        error = error.__cause__ or error.__context__  # type: ignore[assignment]
    return " < ".join(found)


def frames(error: BaseException) -> tuple[str, ...]:
    """The places in the code that an error went through, the innermost last; no values."""
    rows = traceback.extract_tb(error.__traceback__)[-25:]
    return tuple(f"{_short(row.filename)}:{row.lineno} {row.name}" for row in rows)


def _short(filename: str) -> str:
    parts = Path(filename).parts
    for above in ("site-packages", "src"):
        if above in parts:
            return "/".join(parts[len(parts) - parts[::-1].index(above) :])
    return "/".join(parts[-2:])


class Lines(logging.Formatter):
    """A record as a line of JSON, with what :data:`FACTS` names and nothing else."""

    def format(self, record: logging.LogRecord) -> str:
        given: dict[str, Any] = getattr(record, "facts", None) or _foreign(record)
        said = {"at": instant_text(datetime.fromtimestamp(record.created, UTC)),
                "level": record.levelname.lower()}  # fmt: skip
        return json.dumps(
            {**said, **{name: _plain(given[name]) for name in given if name in FACTS}}
        )


def _foreign(record: logging.LogRecord) -> dict[str, Any]:
    """A record of another part: where it comes from and its fault, never its words."""
    found: dict[str, Any] = {"event": "said", "from_module": record.name}
    if record.exc_info and record.exc_info[1] is not None:
        found |= {"kind": kinds(record.exc_info[1]), "stack": frames(record.exc_info[1])}
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, (bool, int)):
        return value
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, (tuple, list)):
        return [_plain(one) for one in value][:30]
    return value if isinstance(value, str) and _WORD.fullmatch(value) else "(left out)"


class _Window(logging.Handler):
    """The window in which the program runs."""

    def emit(self, record: logging.LogRecord) -> None:
        """Show it there."""
        with contextlib.suppress(OSError, ValueError):
            print(self.format(record), file=sys.stderr)


class _Words(logging.Formatter):
    """What the window shows of a line."""

    def format(self, record: logging.LogRecord) -> str:
        facts = getattr(record, "facts", None)
        if facts is None:
            return super().format(record)
        words = " ".join(f"{name} {value}" for name, value in facts.items()
                         if name in ("fault", "kind", "task"))  # fmt: skip
        return f"{facts['event']} {words}".strip()


def begin(studio: Path, name: str, level: str = "info") -> None:
    """Log to ``log/NAME.jsonl`` of a studio from now on; one process a name.

    Raises:
        ValueError: no such level.
    """
    if level not in LEVELS:
        raise ValueError(f"there is no log level {level!r}; give one of {', '.join(LEVELS)}")
    end()
    if level == "off":
        return
    folder = studio / LOG
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        file = RotatingFileHandler(
            folder / f"{name}.jsonl", maxBytes=MOST_BYTES, backupCount=FILES - 1, encoding="utf-8"
        )
    except OSError:
        return  # a disk that takes no log still lets people work
    file.setFormatter(Lines())
    window = _Window()
    window.setLevel(logging.ERROR)
    window.setFormatter(_Words())
    log = logging.getLogger(NAME)
    log.setLevel(LEVELS[level])
    log.propagate = False
    for handler in (file, window):
        # What cannot be logged (a full disk) never stops the work.
        handler.handleError = lambda record: None  # type: ignore[method-assign]
        log.addHandler(handler)


def end() -> None:
    """Log no longer."""
    log = logging.getLogger(NAME)
    for handler in tuple(log.handlers):
        log.removeHandler(handler)
        with contextlib.suppress(ValueError, OSError):
            handler.close()
    log.propagate = True
    log.setLevel(logging.NOTSET)


def lines_since(studio: Path, since: datetime) -> list[dict[str, Any]]:
    """Lines of all logs written since an instant, the newest last; damaged lines are left out."""
    found = []
    for path in sorted((studio / LOG).glob("*.jsonl*")):
        try:
            text = path.read_text(encoding="utf-8", errors="replace")
        except OSError:
            continue
        for line in text.splitlines():
            try:
                said = json.loads(line)
                if datetime.fromisoformat(said["at"]) >= since:
                    found.append(said)
            except (ValueError, KeyError, TypeError):
                continue
    return sorted(found, key=lambda one: str(one["at"]))
