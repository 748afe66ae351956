"""The log: what is in it, what never is, how large it may grow."""

from __future__ import annotations

import ast
import json
import logging
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import quirewell
from quirewell.jobs.runner import Runner
from quirewell.studio import log

SECRET = "Amabel Thornquist paid 412.50"


@pytest.fixture
def logged(tmp_path: Path) -> Iterator[Path]:
    log.begin(tmp_path, "serve", "debug")
    yield tmp_path
    log.end()


def lines(studio: Path) -> list[dict[str, object]]:
    return log.lines_since(studio, datetime(2000, 1, 1, tzinfo=UTC))


def broken() -> None:
    try:
        int(SECRET)
    except ValueError as error:
        raise RuntimeError(SECRET) from error


def test_a_line_is_json_with_the_facts_and_the_instant(logged: Path) -> None:
    log.told("request", route="/item/{item}/treat", status=200, ms=12.3456, bytes=4096)
    said = lines(logged)[-1]
    assert said.pop("at")
    assert said == {
        "level": "info", "event": "request", "route": "/item/{item}/treat", "status": 200,
        "ms": 12.346, "bytes": 4096,
    }  # fmt: skip


def test_nothing_is_logged_until_it_is_asked_for(tmp_path: Path) -> None:
    log.told("request", status=200)
    assert log.fault(ValueError(SECRET)) == "" and list(tmp_path.iterdir()) == []
    log.begin(tmp_path, "serve", "off")
    log.told("request", status=200)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(ValueError, match="no log level 'loud'"):
        log.begin(tmp_path, "serve", "loud")


def test_levels(tmp_path: Path) -> None:
    log.begin(tmp_path, "serve", "error")
    log.told("request", status=200)
    log.told("backup.failed", logging.ERROR, code=1)
    log.end()
    assert [one["event"] for one in lines(tmp_path)] == ["backup.failed"]


def test_a_fault_has_its_number_and_stack_and_never_its_message(
    capsys: pytest.CaptureFixture[str], logged: Path
) -> None:
    try:
        broken()
    except RuntimeError as error:
        number = log.fault(error, route="/item/{item}")
    said = lines(logged)[-1]
    assert said["fault"] == number and said["kind"] == "RuntimeError < ValueError"
    assert any("test_log.py" in place and "broken" in place for place in said["stack"])  # type: ignore[attr-defined]
    text = (logged / "log" / "serve.jsonl").read_text()
    assert "Amabel" not in text and "412" not in text
    shown = capsys.readouterr().err
    assert number in shown and "Amabel" not in shown


def test_what_other_parts_say_loses_its_words_but_keeps_its_stack(logged: Path) -> None:
    other = logging.getLogger("quirewell.web.alarm")
    try:
        broken()
    except RuntimeError:
        other.exception("the alarm could not look at %s", SECRET)
    text = (logged / "log" / "serve.jsonl").read_text()
    assert "Amabel" not in text and "broken" in text and "quirewell.web.alarm" in text


def test_a_fact_that_has_no_place_or_looks_private_is_left_out(logged: Path) -> None:
    log.told("saved", seq=4, kind="item.opened", owner=SECRET, task=f"Amabel, £412 {SECRET}")
    said = lines(logged)[-1]
    assert "owner" not in said and said["task"] == "(left out)" and said["seq"] == 4


def test_every_fact_that_the_program_tells_has_a_place() -> None:
    unknown = []
    for path in Path(quirewell.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                owner = node.func.value
                mine = isinstance(owner, ast.Name) and owner.id == "log"
                if mine and node.func.attr in ("told", "fault", "fault_of"):
                    unknown += [one.arg for one in node.keywords if one.arg not in log.FACTS]
    assert not unknown


def test_it_never_grows_beyond_its_bound(logged: Path) -> None:
    for handler in logging.getLogger(log.NAME).handlers:
        if hasattr(handler, "maxBytes"):
            handler.maxBytes = 2000
    for number in range(400):
        log.told("request", status=200, seq=number)
    files = sorted((logged / "log").iterdir())
    assert len(files) == log.FILES
    assert all(path.stat().st_size <= 2000 for path in files)
    assert lines(logged)[-1]["seq"] == 399
    assert (logged / "log").stat().st_mode & 0o077 == 0


def test_a_log_that_cannot_be_written_stops_nothing(logged: Path) -> None:
    for handler in logging.getLogger(log.NAME).handlers:
        stream = getattr(handler, "stream", None)
        if stream is not None and hasattr(handler, "maxBytes"):
            stream.close()
    log.told("request", status=200)
    assert log.fault(ValueError("x"))


def test_damaged_lines_are_passed_over(logged: Path) -> None:
    log.told("request", status=200)
    with (logged / "log" / "serve.jsonl").open("a") as out:
        out.write('{"at": 3}\nnot json\n{"at": "2031-01-01T00:00:00.000Z", "event": "later"}\n')
    later = log.lines_since(logged, datetime.now(UTC) + timedelta(days=1))
    assert [one["event"] for one in later] == ["later"]


def test_jobs_begin_end_and_fail_with_their_stack(logged: Path) -> None:
    with Runner(1) as runner:
        runner.submit("job_tasks.double", 2).wait(60)
        bad = runner.submit("json.loads", 5).wait(60)
    assert bad.state == "failed"
    said = lines(logged)
    ended = [(one["task"], one["state"]) for one in said if one["event"] == "job.ended"]
    assert ended == [("job_tasks.double", "done"), ("json.loads", "failed")]
    fault = next(one for one in said if one["event"] == "fault")
    assert fault["kind"] == "TypeError" and any("json" in place for place in fault["stack"])  # type: ignore[attr-defined]
    assert str(fault["fault"]) in bad.error
    assert json.dumps(said).count("job.begun") == 2
