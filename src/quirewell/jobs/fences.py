"""What a process that opens files from outside may no longer do.

Set once, in the worker itself, before the first file. On Linux a filter of system calls
(seccomp, filter mode) forbids new processes, other programs and the network; elsewhere that fence
is missing and the others hold. Numbers of system calls: the Linux kernel's own tables.
"""

from __future__ import annotations

import ctypes
import errno
import platform
import resource
import struct
import sys
from contextlib import suppress

# Previews and marks are far smaller; a decoder has no business writing more.
LONGEST_FILE_BYTES = 1 << 30
OPEN_FILES = 128

_NO_NEW_PRIVILEGES, _SECCOMP, _FILTER = 38, 22, 2
_ALLOW, _REFUSE = 0x7FFF0000, 0x00050000
_THREAD = 0x00010000
_LOAD, _EQUAL, _BITS, _RETURN = 0x20, 0x15, 0x45, 0x06
_ARCH_AT, _NUMBER_AT, _FIRST_ARGUMENT_AT = 4, 0, 16
# By machine: its name in the filter, the calls refused, then clone and clone3.
_CALLS = {
    "x86_64": (
        0xC000003E,
        # fork vfork execve execveat socket connect bind socketpair ptrace kill tkill
        (57, 58, 59, 322, 41, 42, 49, 53, 101, 62, 200),
        56,
        435,
    ),
    "aarch64": (
        0xC00000B7,
        # execve execveat socket connect bind socketpair ptrace kill tkill
        (221, 281, 198, 203, 200, 199, 117, 129, 130),
        220,
        435,
    ),
}


def fence_in() -> bool:
    """Forbid this process core dumps, long files, many files, and where the system can, new
    privileges, processes, programs and the network. Whether the last of these holds."""
    for what, most in (
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, LONGEST_FILE_BYTES),
        (resource.RLIMIT_NOFILE, OPEN_FILES),
    ):
        _, hard = resource.getrlimit(what)
        least = most if hard == resource.RLIM_INFINITY else min(most, hard)
        with suppress(ValueError, OSError):
            resource.setrlimit(what, (least, least))
    return filter_calls()


def filter_calls() -> bool:
    """Set the filter of system calls; False where the system has none such."""
    known = _CALLS.get(platform.machine())
    if sys.platform != "linux" or known is None:
        return False
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0) != 0:
        return False
    lines = _program(*known)
    held = ctypes.create_string_buffer(lines, len(lines))
    # struct sock_fprog: a count of lines, padding, and where they are.
    program = struct.pack("@HxxxxxxQ", len(lines) // 8, ctypes.addressof(held))
    return bool(libc.prctl(_SECCOMP, _FILTER, ctypes.create_string_buffer(program), 0, 0) == 0)


def _program(machine: int, refused: tuple[int, ...], clone: int, clone3: int) -> bytes:
    """The filter's lines: code, steps when true, steps when not, value (struct sock_filter)."""
    no = _REFUSE | errno.EPERM
    lines = [
        (_LOAD, 0, 0, _ARCH_AT),
        (_EQUAL, 1, 0, machine),
        (_RETURN, 0, 0, no),
        (_LOAD, 0, 0, _NUMBER_AT),
        # clone3 hides what it is asked for behind a pointer: libraries then fall back on clone.
        (_EQUAL, 0, 1, clone3),
        (_RETURN, 0, 0, _REFUSE | errno.ENOSYS),
    ]
    for number in refused:
        lines += [(_EQUAL, 0, 1, number), (_RETURN, 0, 0, no)]
    lines += [
        (_EQUAL, 0, 3, clone),
        (_LOAD, 0, 0, _FIRST_ARGUMENT_AT),
        (_BITS, 1, 0, _THREAD),
        (_RETURN, 0, 0, no),
        (_RETURN, 0, 0, _ALLOW),
    ]
    return b"".join(struct.pack("@HBBI", *line) for line in lines)
