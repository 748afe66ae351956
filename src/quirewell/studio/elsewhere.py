"""Where pictures are opened: here, or in a process that may be lost.

A server never opens a picture's bytes itself. While it runs it says by :func:`opened_elsewhere`
who does, and :func:`~quirewell.studio.images.load_picture` and
:func:`~quirewell.studio.image_header.read_header` then ask there, wherever they are called from.
A worker, or a command that does one thing and ends, opens them itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# A task by its dotted name and the picture's path, then the task's other arguments.
Opener = Callable[..., Any]

_openers: list[Opener] = []


@contextmanager
def opened_elsewhere(opener: Opener) -> Iterator[None]:
    """Within it, this process opens no picture itself: ``opener(task, path, *arguments)`` does.

    ``opener`` raises :class:`~quirewell.studio.image_kind.ImageError` in a sentence.
    """
    _openers.append(opener)
    try:
        yield
    finally:
        _openers.remove(opener)


def elsewhere(task: str, path: Path, *arguments: Any) -> tuple[Any, ...]:
    """What ``task`` gives for a picture, opened elsewhere, as the only member; nothing when
    pictures are opened here."""
    return (_openers[-1](task, str(path), *arguments),) if _openers else ()
