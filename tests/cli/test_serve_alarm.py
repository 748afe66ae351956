"""``quirewell serve`` rings in its terminal for a step that is due; ``--no-alarm`` does not."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Step
from quirewell.stages.overview import open_item
from quirewell.studio.clock import instant_text
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"


@pytest.mark.parametrize(("options", "rings"), [((), True), (("--no-alarm",), False)])
def test_the_terminal_rings_when_a_step_is_due(
    tmp_path: Path, options: tuple[str, ...], rings: bool
) -> None:
    begun = instant_text(datetime.now(UTC) - timedelta(minutes=31))
    step = Step(
        "bath-1", "wash", ("w03",), "started", started_at=begun, planned_minutes=Decimal(30)
    )  # fmt: skip
    with Studio.create(tmp_path / "studio", "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "9"}
        studio.append(ITEM, 0, open_item(ITEM, form))
        studio.append(ITEM, None, (Draft(ITEM, "step.started", to_body(step)),))
    run = "from quirewell.cli.serve import serve; serve()"
    command = [sys.executable, "-c", run, "--studio", str(tmp_path / "studio"), "--port", "0"]
    server = subprocess.Popen(
        [*command, *options], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
    )
    try:
        assert server.stderr is not None and "is open" in server.stderr.readline()
        heard = ""
        if rings:
            while "wrap 3" not in heard and (line := server.stderr.readline()):
                heard += line
        else:
            time.sleep(4)
        server.send_signal(signal.SIGTERM)
        heard += server.communicate(timeout=30)[1]
    finally:
        server.kill()
    assert ("wrap 3, Copperbeck Garden Annual: " in heard) is rings
    assert ("\a" in heard) is rings and heard.endswith("The studio is closed.\n")
