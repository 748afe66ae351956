"""The short form of the run over the routes, and that a fault behind one would be found."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.responses import Response
from starlette.routing import Route

from fuzz import web_run
from fuzz.web_routes import Form, Seen, described
from quirewell.web.app import build
from web.conftest import make_studio

NO_PEER = pytest.mark.skipif(
    not web_run.SCHEMATHESIS.is_file(), reason="the environment .venv-peers is not set up"
)


def test_every_route_is_described(tmp_path: Path) -> None:
    make_studio(tmp_path / "s", pictures=False)
    table = [one for one in build(tmp_path / "s").routes if isinstance(one, Route)]
    seen = Seen({"/item/annual"}, {"/item/annual/intake/files": Form("", {}, {"files"})})
    paths = described(table, seen)["paths"]
    assert sum(len(methods) for methods in paths.values()) > 200
    item = paths["/item/{item}/intake/files"]["post"]
    assert "multipart/form-data" in item["requestBody"]["content"]
    assert paths["/item/{item}"]["get"]["parameters"][0]["schema"]["enum"] == ["annual"]


@NO_PEER
@pytest.mark.slow
def test_no_route_of_buying_answers_with_a_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_run, "LONGEST_S", 40)
    make_studio(tmp_path / "s", pictures=False)
    made, faults = web_run.run_web(3, tmp_path / "s", 1, r"^/(buying|clients)", pages=12)
    assert faults == []
    assert made["server_errors"] == 0 and made["requests"] >= 20


def test_an_answer_of_500_is_a_fault() -> None:
    def page(request: object) -> Response:
        return Response()

    table = list(Starlette(routes=[Route("/a/{b}", page)]).routes)
    answers = [["GET", "200", "'/a/1'"], ["GET", "500", "'/a/2'"], ["GET", "500", "'/a/3'"]]
    faults = web_run._faults(table, answers, "Traceback", alive=True)  # type: ignore[arg-type]
    assert [(route, says) for route, says, _ in faults] == [("GET /a/{b}", "500 for '/a/2'")]
    assert web_run._faults([], [], "it broke", alive=False)[0][0] == "server"
