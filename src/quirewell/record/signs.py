"""Signs that cannot be seen, named where a text is shown.

Some signs turn the order of the letters around them or take no room at all (Unicode's controls of
direction, zero-width spaces, tags). A title that holds one could show another thing than it says.
The record keeps what was typed; wherever it is shown, such a sign is named by its number. The two
that join letters (U+200C, U+200D) are let be: whole scripts need them.
"""

from __future__ import annotations

import re

_UNSEEN = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u061c\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f"
    r"\ufeff\ufff9-\ufffb\U000e0000-\U000e007f]"
)


def visible(text: str) -> str:
    """The text with each sign that cannot be seen named by its number.

    >>> visible("abc" + chr(0x202E) + "gpj.exe"), visible("Copperbeck, 1936")
    ('abc[U+202E]gpj.exe', 'Copperbeck, 1936')
    """
    return _UNSEEN.sub(lambda sign: f"[U+{ord(sign[0]):04X}]", text)
