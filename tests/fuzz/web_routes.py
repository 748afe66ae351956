"""A description (OpenAPI 3.1) of the routes, made from the application's own table.

What a route's path takes and what a form holds is read off the running server's own pages: links
give ids, forms give fields with their values.
"""

from __future__ import annotations

import http.client
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import unquote, urlsplit

from starlette.routing import Route

MOST_PAGES = 150
MOST_IDS = 8
# Two that end or change what the other requests need: the studio's own door and its show mode.
LEFT_OUT = ("/show",)


@dataclass
class Form:
    """A form of a page: where it goes, and its fields with the values they may take."""

    action: str
    fields: dict[str, list[str]] = field(default_factory=dict)
    files: set[str] = field(default_factory=set)


class _Page(HTMLParser):
    def __init__(self, here: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.forms: list[Form] = []
        self._here = here
        self._select = self._area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        for name in ("href", "src"):
            if said.get(name, "").startswith("/"):
                self.links.append(said[name])
        if tag == "form":
            self.forms.append(Form(said.get("action") or self._here))
            if said.get("method", "get").lower() != "post":
                self.forms[-1].action = ""
        if not self.forms:
            return
        now = self.forms[-1]
        if tag == "select":
            self._select = said.get("name", "")
            now.fields.setdefault(self._select, [])
        elif tag == "option" and self._select:
            now.fields[self._select].append(said.get("value", ""))
        elif tag in ("input", "button", "textarea") and said.get("name"):
            if said.get("type") == "file":
                now.files.add(said["name"])
            else:
                now.fields.setdefault(said["name"], []).append(said.get("value", ""))
        self._area = said.get("name", "") if tag == "textarea" else ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""

    def handle_data(self, data: str) -> None:
        if self._area and self.forms:
            self.forms[-1].fields[self._area].append(data)


@dataclass
class Seen:
    """Links and forms of the server's pages."""

    links: set[str] = field(default_factory=set)
    forms: dict[str, Form] = field(default_factory=dict)


def walk(port: int, most: int = MOST_PAGES) -> Seen:
    """Every page that can be reached by links, up to ``most``, breadth first."""
    seen, queue, done = Seen(), ["/"], set()
    while queue and len(done) < most:
        path = queue.pop(0)
        if path in done:
            continue
        done.add(path)
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        connection.request("GET", path)
        answer = connection.getresponse()
        body = answer.read()
        connection.close()
        if answer.status != 200 or "text/html" not in answer.headers.get("content-type", ""):
            continue
        page = _Page(urlsplit(path).path)
        page.feed(body.decode())
        for link in page.links:
            plain = urlsplit(link).path
            seen.links.add(plain)
            if not plain.startswith(("/static", "/tiles", "/original", "/preview")):
                queue.append(plain)
        for form in page.forms:
            if form.action:
                _merge(seen, form)
    return seen


def _merge(seen: Seen, form: Form) -> None:
    path = urlsplit(form.action).path
    held = seen.forms.setdefault(path, Form(path))
    held.files |= form.files
    for name, values in form.fields.items():
        kept = held.fields.setdefault(name, [])
        kept += [one for one in dict.fromkeys(values) if one not in kept][:12]


def described(routes: Iterable[Any], seen: Seen) -> dict[str, Any]:
    """The description of all routes."""
    paths: dict[str, Any] = {}
    for route in routes:
        if not isinstance(route, Route) or route.path.startswith(LEFT_OUT):
            continue
        plain = re.sub(r"\{(\w+)(:\w+)?\}", r"{\1}", route.path)
        held = paths.setdefault(plain, {})
        ids = _ids(route, seen.links)
        for method in sorted((route.methods or {"GET"}) - {"HEAD"}):
            held[method.lower()] = _operation(route, method, ids, seen.forms)
    return {"openapi": "3.1.0", "info": {"title": "quirewell", "version": "0"}, "paths": paths}


def _operation(
    route: Route, method: str, ids: Mapping[str, list[str]], forms: Mapping[str, Form]
) -> dict[str, Any]:
    said: dict[str, Any] = {
        "parameters": [
            {"name": name, "in": "path", "required": True,
             "schema": {"type": "string", "minLength": 1, **({"enum": known} if known else {})}}
            for name, known in ids.items()
        ],
        "responses": {"default": {"description": "an answer"}},
    }  # fmt: skip
    if method == "POST":
        said["requestBody"] = {"content": _content(route, forms)}
    else:
        said["parameters"] += [
            {"name": name, "in": "query", "schema": {"type": "string"}}
            for name in ("at", "q", "page", "moment", "of")
        ]
    return said


def _content(route: Route, forms: Mapping[str, Form]) -> dict[str, Any]:
    found = [form for path, form in forms.items() if route.path_regex.match(path)]
    fields: dict[str, Any] = {}
    files: set[str] = set()
    for form in found:
        files |= form.files
        for name, values in form.fields.items():
            fields[name] = {"type": "string"}
            told = [one for one in values if one]
            if told:
                fields[name] = {"anyOf": [{"enum": told[:12]}, {"type": "string"}]}
    fields |= {name: {"type": "string", "format": "binary"} for name in files}
    shape = {"type": "object", "properties": fields}
    kind = "multipart/form-data" if files else "application/x-www-form-urlencoded"
    return {kind: {"schema": shape}}


def _ids(route: Route, links: Iterable[str]) -> dict[str, list[str]]:
    ids: dict[str, list[str]] = {name: [] for name in route.param_convertors}
    for link in sorted(links):
        match = route.path_regex.match(unquote(link))
        if match is None:
            continue
        for name, value in match.groupdict().items():
            if value not in ids[name] and len(ids[name]) < MOST_IDS:
                ids[name].append(value)
    return ids
