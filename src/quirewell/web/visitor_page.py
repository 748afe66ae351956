"""A page as a guest or an owner sees it: nothing stands on it that would be refused.

Forms that save are taken out, links that lead to a closed page become plain words, and what is left
empty by that goes too. Which addresses are open is asked of the one table of roles.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from urllib.parse import urlsplit

from quirewell.web.roles import OPEN_WRITES

_FORM = re.compile(r"<form\b([^>]*)>.*?</form>", re.DOTALL | re.IGNORECASE)
_POST = re.compile(r'\bmethod\s*=\s*"post"', re.IGNORECASE)
_ACTION = re.compile(r'\baction\s*=\s*"([^"]*)"', re.IGNORECASE)
# Controls outside of the form they belong to.
_ASTRAY = re.compile(
    r'<(button|select|textarea)\b[^>]*\sform="[^"]*"[^>]*>.*?</\1>|<input\b[^>]*\sform="[^"]*"[^>]*>'
    r'|<button\b[^>]*\sformaction="[^"]*"[^>]*>.*?</button>',
    re.DOTALL | re.IGNORECASE,
)
_LINK = re.compile(r"<a\b([^>]*)>(.*?)</a>", re.DOTALL | re.IGNORECASE)
_DRAWN = re.compile(r"<svg\b.*?</svg>", re.DOTALL | re.IGNORECASE)
_WAYS = re.compile(r'<header class="top">.*?</header>', re.DOTALL)
_HREF = re.compile(r'(?:xlink:)?href\s*=\s*"([^"]*)"', re.IGNORECASE)
_CLASS = re.compile(r'\bclass\s*=\s*"([^"]*)"', re.IGNORECASE)
_EMPTY = re.compile(
    r"<details\b[^>]*>\s*<summary\b[^>]*>(?:(?!</summary>).)*</summary>\s*</details>"
    r"|<(section|fieldset)\b[^>]*>\s*(?:<(h[2-4]|legend)\b[^>]*>(?:(?!</\2>).)*</\2>)?\s*</\1>"
    r"|<p class=\"row\">\s*</p>|<td>\s*<details\b[^>]*>\s*</details>\s*</td>|<li>\s*</li>",
    re.DOTALL | re.IGNORECASE,
)
_COURSE = re.compile(r'<nav class="course".*?</nav>|<p class="crumbs">.*?</p>', re.DOTALL)
_TOP = re.compile(r'(<header class="top">.*?)<nav\b.*?</nav>(\s*</header>)', re.DOTALL)


def visitor_page(page: str, sees: Callable[[str], bool], own_report: bool) -> str:
    """The page without forms that save and links that would be refused; ``sees`` says of a path
    whether it is open. ``own_report``: for an owner, without the bench's ways through the job."""
    if own_report:
        page = _TOP.sub(r"\1\2", _COURSE.sub("", page))
    page = _ASTRAY.sub("", _FORM.sub(lambda found: _form(found, sees), page))
    page = _linked(page, sees)
    for _ in range(4):
        page, count = _EMPTY.subn("", page)
        if not count:
            break
    return page


def _form(found: re.Match[str], sees: Callable[[str], bool]) -> str:
    """A form that ends one's own session, or only chooses what an open page shows."""
    action = _ACTION.search(found[1])
    target = html.unescape(action[1]) if action else ""
    if target in OPEN_WRITES:
        return found[0]
    path = urlsplit(target).path
    # The list of items is not narrowed for visitors (`gate.py`), so its form would do nothing.
    chooses = not _POST.search(found[1]) and (not path or (path != "/" and sees(path)))
    return found[0] if chooses else ""


def _linked(page: str, sees: Callable[[str], bool]) -> str:
    """Links that are open stay; of others the words stay, but for buttons and the ways on top."""
    drawn = [found.span() for found in _DRAWN.finditer(page)]
    course = [found.span() for found in _COURSE.finditer(page)]
    ways = [found.span() for found in _WAYS.finditer(page)]

    def kept(found: re.Match[str]) -> str:
        href, named = _HREF.search(found[1]), _CLASS.search(found[1])
        path = urlsplit(html.unescape(href[1])).path if href else ""
        if not path or (path.startswith("/") and sees(path)):
            return found[0]
        kind = named[1] if named else ""
        # A drawing holds no words that flow: a group takes the link's place.
        if _within(drawn, found.start()) and "<svg" not in found[2]:
            return f"<g>{found[2]}</g>"
        if "button" in kind.split() or (_within(ways, found.start()) and kind != "house"):
            return ""
        if kind == "house" or _within(course, found.start()):
            return f'<a class="{kind}">{found[2]}</a>'  # looks as it did, and leads nowhere
        return f'<span class="{kind}">{found[2]}</span>' if kind else f"<span>{found[2]}</span>"

    return _LINK.sub(kept, page)


def _within(spans: list[tuple[int, int]], at: int) -> bool:
    return any(start <= at < end for start, end in spans)
