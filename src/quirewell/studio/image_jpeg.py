"""How finely a JPEG stream samples each channel, read from its own frame header."""

from __future__ import annotations

_START_OF_SCAN = 0xDA
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def sampling_of(stream: bytes) -> tuple[int, ...] | None:
    """Sampling factors of each channel (high nibble across, low nibble down); None when the
    stream has no frame header that can be read.

    Unlike factors mean that some channels hold fewer samples than others.

    >>> sampling_of(bytes.fromhex("ffd8ffc0001108001000100301220002110103110100"))
    (34, 17, 17)
    """
    at = 2
    while at + 4 <= len(stream):
        if stream[at] != 0xFF:
            return None
        code = stream[at + 1]
        if code == 0xFF:
            at += 1
            continue
        if code == 0x01 or 0xD0 <= code <= 0xD8:
            at += 2
            continue
        length = int.from_bytes(stream[at + 2 : at + 4], "big")
        if length < 2 or code == _START_OF_SCAN:
            return None
        if code in _FRAMES:
            return _channels(stream[at + 4 : at + 2 + length])
        at += 2 + length
    return None


def _channels(frame: bytes) -> tuple[int, ...] | None:
    if len(frame) < 6:
        return None
    count = frame[5]
    if not 1 <= count <= 4 or len(frame) < 6 + 3 * count:
        return None
    return tuple(frame[7 + 3 * index] for index in range(count))
