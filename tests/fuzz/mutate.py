"""Makes bad files out of good ones, by chance from a seed: the same seed, the same files."""

from __future__ import annotations

import random
import struct

# Text that has hurt readers before; any file may carry it anywhere.
SPECIALS = (
    "nan", "NaN", "inf", "-inf", "Infinity", "1e999999", "-1e999999", "1e-999999", "1E400",
    "9" * 5000, "0." + "1" * 5000, "-0", "+", "-", ".", "e", "0x1F", "1_000", "1,2,3.4", "1.2.3",
    "\u0661\u0662\u0663", "\uff11\uff12\uff0e\uff15", "\u00bd", "\u00b2", "1\u00a0000", "\u2212 5",
    "e\u0301" * 40, "\u202eabc", "\u200b", "\ufeff", "\ud800", "\U0001f4a9", "\x00", "\x1a", "\x0c",
    "\x85", "\u2028", "\r", "\r\n", "\n\n\n", '"', '""', "'", "'''", '"""', "\\", "\\u0000",
    "=1+1", "@x", "#", ";", ",", "\t", "|", ":", "[", "]", "[[", "{", "}", "<!--", "%s", "{0}",
    "../../../x", "/dev/null", "null", "true", "None", "[" * 3000, "{" * 3000, '{"a":' * 2000,
    "2024-02-30", "0000-00-00", "9999-12-31", "10000-01-01", "24:60", "1900-01-01T00:00:00Z",
    "2026-03-29T02:30:00", "A" * 70_000, "a.b.c.d", "1" * 25, "-1", "0", "1e308", "5e-324",
    "4300" * 1100,
)  # fmt: skip
_ODD = b"\x00\xff\xfe\x80\x7f\r\n\t\"',;|[]{}()=#\\\xc3\xe2\xef\xbb\xbf"
_COUNTS = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 1 << 40)


def text_file(dice: random.Random, seeds: tuple[bytes, ...]) -> bytes:
    """A file of text: a seed changed in one to six ways."""
    data = dice.choice(seeds)
    for _ in range(dice.choice((1, 1, 1, 2, 3, 6))):
        data = dice.choice(_TEXT_WAYS)(dice, data, seeds)[:400_000]
    return data


def _utf8(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


def _special(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    at = dice.randrange(len(data) + 1)
    return data[:at] + _utf8(dice.choice(SPECIALS)) + data[at:]


def _other_value(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    """One word or number gives way to a special one: what a reader looks at, not beside it."""
    kept = data.replace(b"\n", b" \n ").replace(b",", b" , ").split(b" ")
    full = [index for index, part in enumerate(kept) if part.strip(b"\r\n,;[]{}=\"'")]
    if not full:
        return data
    kept[dice.choice(full)] = _utf8(dice.choice(SPECIALS))
    return b" ".join(kept).replace(b" \n ", b"\n").replace(b" , ", b",")


def _cell(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    lines = data.splitlines(keepends=True)
    if not lines:
        return data
    row = dice.randrange(len(lines))
    sign = next((one for one in (b";", b"\t", b",", b" ") if one in lines[row]), b",")
    cells = lines[row].split(sign)
    way = dice.randrange(4)
    place = dice.randrange(len(cells))
    if way == 0:
        cells[place] = _utf8(dice.choice(SPECIALS))
    elif way == 1:
        cells.insert(place, cells[dice.randrange(len(cells))])
    elif way == 2:
        del cells[place]
    else:
        dice.shuffle(cells)
    lines[row] = sign.join(cells)
    return b"".join(lines)


def _lines(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    lines = data.splitlines(keepends=True)
    if not lines:
        return data
    way, row = dice.randrange(4), dice.randrange(len(lines))
    if way == 0:
        del lines[row]
    elif way == 1:
        lines[row:row] = [lines[row]] * dice.choice((1, 2, 50))
    elif way == 2:
        dice.shuffle(lines)
    else:
        end = dice.choice((b"\r", b"\r\n", b"", b"\x0b", b"\n\n"))
        lines[row] = lines[row].rstrip(b"\r\n") + end
    return b"".join(lines)


def _bytes(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    out = bytearray(data or b"x")
    for _ in range(dice.choice((1, 2, 8))):
        at = dice.randrange(len(out))
        out[at] = dice.choice((out[at] ^ (1 << dice.randrange(8)), dice.choice(_ODD)))
    return bytes(out)


def _cut(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    return data[: dice.randrange(len(data) + 1)]


def _spliced(dice: random.Random, data: bytes, seeds: tuple[bytes, ...]) -> bytes:
    other = dice.choice(seeds)
    return data[: dice.randrange(len(data) + 1)] + other[dice.randrange(len(other) + 1) :]


def _coded(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    text = data.decode("utf-8", "replace")
    way = dice.choice(("utf-16", "utf-16-le", "utf-8-sig", "latin-1", "utf-32", "cp1252"))
    return text.encode(way, "replace")


def _repeated(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    part = data[: dice.randrange(len(data) + 1)][-dice.choice((1, 3, 20, 200)) :]
    at = dice.randrange(len(data) + 1)
    return data[:at] + part * dice.choice((2, 10, 300)) + data[at:]


_TEXT_WAYS = (
    _special, _other_value, _other_value, _other_value, _cell, _cell, _cell, _lines, _bytes, _cut,
    _spliced, _coded, _repeated,
)  # fmt: skip


def picture_file(dice: random.Random, seeds: tuple[bytes, ...]) -> bytes:
    """A picture's file: a seed changed in one to four ways."""
    data = dice.choice(seeds)
    for _ in range(dice.choice((1, 1, 2, 4))):
        data = dice.choice(_PICTURE_WAYS)(dice, data, seeds)[:4_000_000]
    return data


def _flipped(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    out = bytearray(data)
    for _ in range(dice.choice((1, 1, 4, 30))):
        if out:
            out[dice.randrange(len(out))] ^= 1 << dice.randrange(8)
    return bytes(out)


def _front(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    """Bits of the first 200 bytes, where formats keep what they say of themselves."""
    out = bytearray(data)
    for _ in range(dice.choice((1, 2, 5))):
        if out:
            out[dice.randrange(min(len(out), 200))] = dice.randrange(256)
    return bytes(out)


def _counted(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    """A count, an offset or a length is overwritten with one that cannot be."""
    if len(data) < 16:
        return data
    out = bytearray(data)
    size = dice.choice((1, 2, 4, 8))
    at = dice.randrange(min(len(data), dice.choice((64, 600, len(data)))) or 1)
    value = dice.choice((*_COUNTS, len(data), len(data) - 1, at, dice.randrange(len(data))))
    order = dice.choice("<>")
    form = {1: "B", 2: "H", 4: "I", 8: "Q"}[size]
    out[at : at + size] = struct.pack(order + form, value & ((1 << (8 * size)) - 1))
    return bytes(out)


def _tagged(dice: random.Random, data: bytes, seeds: tuple[bytes, ...]) -> bytes:
    """One entry of a TIFF's directory (or of an EXIF block's) gets another kind, count or value."""
    at = max(data.find(b"II*\0"), data.find(b"MM\0*"), data.find(b"II+\0"))
    if at < 0 or len(data) < at + 16:
        return _chunked(dice, data, seeds)
    order = "<" if data[at : at + 1] == b"I" else ">"
    big = data[at + 2 : at + 3] == b"+"
    if big:
        (first,) = struct.unpack_from(order + "Q", data, at + 8)
    else:
        (first,) = struct.unpack_from(order + "I", data, at + 4)
    entry, head = (20, 8) if big else (12, 2)
    if at + first + head > len(data):
        return _counted(dice, data, seeds)
    (count,) = struct.unpack_from(order + ("Q" if big else "H"), data, at + first)
    place = at + first + head + entry * dice.randrange(max(1, min(count, 30)))
    out = bytearray(data)
    way = dice.randrange(5)
    if way == 0:
        piece, where = struct.pack(order + "H", dice.randrange(20)), place + 2
    elif way == 1:
        piece, where = struct.pack(order + "I", dice.choice(_COUNTS) & 0xFFFFFFFF), place + 4
    elif way == 2:
        value = dice.choice((*_COUNTS, first, first + head, len(data) - 2)) & 0xFFFFFFFF
        piece, where = struct.pack(order + "I", value), place + entry - (8 if big else 4)
    elif way == 3:
        tags = (254, 256, 257, 258, 259, 262, 273, 277, 278, 279, 284, 317, 320, 322, 324, 330, 338,
                339, 347, 530, 34665, 34675, 50706)  # fmt: skip
        piece, where = struct.pack(order + "H", dice.choice(tags)), place
    else:
        after = place + entry
        piece, where = struct.pack(order + "I", dice.choice((first, 8, len(data)))), after
    out[where : where + len(piece)] = piece
    return bytes(out)


def _chunked(dice: random.Random, data: bytes, _: tuple[bytes, ...]) -> bytes:
    """A PNG's chunk, a JPEG's segment or a HEIC's box is doubled, moved, cut or gets another
    length."""
    parts = _parts(data)
    if len(parts) < 3:
        return data
    way = dice.randrange(5)
    at, other = dice.randrange(1, len(parts)), dice.randrange(1, len(parts))
    if way == 0:
        del parts[at]
    elif way == 1:
        parts[at:at] = [parts[other]] * dice.choice((1, 3, 40))
    elif way == 2:
        parts[at], parts[other] = parts[other], parts[at]
    elif way == 3:
        parts[at] = parts[at][: dice.randrange(len(parts[at]) + 1)]
    else:
        piece = bytearray(parts[at])
        where = 2 if data[:2] == b"\xff\xd8" else 0
        width = 2 if where else 4
        length = dice.choice(_COUNTS) & (256**width - 1)
        piece[where : where + width] = length.to_bytes(width, "big")
        parts[at] = bytes(piece)
    return b"".join(parts)


def _parts(data: bytes) -> list[bytes]:
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        at, out = 8, [data[:8]]
        while at + 12 <= len(data):
            end = at + 12 + int.from_bytes(data[at : at + 4], "big")
            out.append(data[at:end])
            at = end
        return out
    if data[:2] == b"\xff\xd8":
        at, out = 2, [data[:2]]
        while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != 0xDA:
            end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
            out.append(data[at:end])
            at = end
        return [*out, data[at:]]
    at, out = 0, []
    while at + 8 <= len(data) and len(out) < 50:
        end = at + max(8, int.from_bytes(data[at : at + 4], "big"))
        out.append(data[at:end])
        at = end
    return [*out, data[at:]]


_PICTURE_WAYS = (
    _flipped, _front, _counted, _counted, _tagged, _tagged, _tagged, _chunked, _chunked, _cut,
    _spliced, _repeated,
)  # fmt: skip
