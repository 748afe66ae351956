"""What in a page the policy would have to stop: found by reading it as a browser does."""

from __future__ import annotations

import re
from html.parser import HTMLParser

FOREIGN = ("style", "iframe", "object", "embed", "base", "applet")
LEADS = ("href", "src", "action", "formaction", "xlink:href", "poster", "data")


class _Inline(HTMLParser):
    """Scripts, styles, handlers and addresses that the policy would have to stop."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = {name: value or "" for name, value in attrs}
        own = held.get("type") == "application/json" or held.get("src", "").startswith("/static/")
        if tag in FOREIGN or (tag == "script" and not own) or "http-equiv" in held:
            self.found.append(f"<{tag} {attrs}>")
        for name, value in held.items():
            plain = re.sub(r"[\s\x00]", "", value).lower()
            if name.startswith("on") or name in ("style", "srcdoc"):
                self.found.append(f"{tag} {name}={value}")
            if name in LEADS and re.match(r"(javascript|data|vbscript|blob|//|https?):?", plain):
                self.found.append(f"{tag} {name}={value}")


def inline(text: str) -> list[str]:
    """What in a page is not of the page's own files."""
    parser = _Inline()
    parser.feed(text)
    parser.close()
    return parser.found
