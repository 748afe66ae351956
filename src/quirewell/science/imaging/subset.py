"""Subset correlation: compiled kernels.

One subset of the before picture is found again in the after picture in the least-squares sense.
With t, s in -1..1 across the subset, W the place in the after picture and d a small move in
the before picture, both polynomials in t and s,

    after(W(t, s)) = a before(x + d(t, s)) + b + c t + e s

is linear in d, a, b, c, e when ``before`` is expanded to first order. The columns belong to the
before picture alone, so that their normal equations are factorised once and every round is
one sampling of the after picture (cubic B-splines) and one back substitution; then
W <- W o (1 - d). A gain, an offset and a slope of tone are thereby free: a washed, lighter or
unevenly lit paper moves nothing. The slope of tone is ours; the inverse composition is that of
``baker2004``, the uncertainty the sandwich of block sums (``white1980``): residuals are alike
within a few pixels and larger at the edges of letters, and both widen it as they should.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.compiled import compiled

Real32 = NDArray[np.float32]
Real = NDArray[np.float64]
Bytes = NDArray[np.uint8]

# Pole of the cubic B-spline's recursion; after so many pixels a border is forgotten.
_POLE = np.sqrt(3.0) - 2.0
FORGOTTEN_PX = 16
TONE_TERMS = 4
FOUND, FLAT, LOST, COVERED = 0, 1, 2, 3


@compiled
def _down_the_rows(values: Real32) -> None:
    rows, columns = values.shape
    pole = np.float32(_POLE)
    for x in range(columns):
        total, power = np.float64(values[0, x]), _POLE
        for y in range(1, min(rows, FORGOTTEN_PX + 4)):
            total += power * values[y, x]
            power *= _POLE
        values[0, x] = np.float32(total)
    for y in range(1, rows):
        for x in range(columns):
            values[y, x] += pole * values[y - 1, x]
    last = np.float32(_POLE / (_POLE * _POLE - 1.0))
    for x in range(columns):
        values[rows - 1, x] = last * (values[rows - 1, x] + pole * values[rows - 2, x])
    six = np.float32(6.0)
    for y in range(rows - 2, -1, -1):
        for x in range(columns):
            values[y, x] = pole * (values[y + 1, x] - values[y, x])
    for y in range(rows):
        for x in range(columns):
            values[y, x] *= six


@compiled
def _along_the_rows(values: Real32) -> None:
    rows, columns = values.shape
    pole = np.float32(_POLE)
    last = np.float32(_POLE / (_POLE * _POLE - 1.0))
    six = np.float32(6.0)
    for y in range(rows):
        total, power = np.float64(values[y, 0]), _POLE
        for x in range(1, min(columns, FORGOTTEN_PX + 4)):
            total += power * values[y, x]
            power *= _POLE
        values[y, 0] = np.float32(total)
        for x in range(1, columns):
            values[y, x] += pole * values[y, x - 1]
        end = columns - 1
        values[y, end] = last * (values[y, end] + pole * values[y, end - 1])
        for x in range(columns - 2, -1, -1):
            values[y, x] = pole * (values[y, x + 1] - values[y, x])
        for x in range(columns):
            values[y, x] *= six


def spline_coefficients(values: Real32) -> Real32:
    """Cubic B-spline coefficients of a grey picture, in place (mirrored borders)."""
    _along_the_rows(values)
    _down_the_rows(values)
    return values


@compiled
def _sample(flat: Real32, rows: int, columns: int, x: float, y: float) -> float:
    """Value of the spline at (x, y), held inside the picture by its rim.

    ``flat`` are the coefficients row after row, so that the four columns side by side are one
    operation of the processor.
    """
    x = min(max(x, 1.0), columns - 3.001)
    y = min(max(y, 1.0), rows - 3.001)
    i, j = int(x), int(y)
    f, g = np.float32(x - i), np.float32(y - j)
    one, four, six, three = np.float32(1), np.float32(4), np.float32(6), np.float32(3)
    sixth = np.float32(1.0 / 6.0)
    h, k = one - f, one - g
    u0, u3 = h * h * h * sixth, f * f * f * sixth
    u1 = (four - six * f * f + three * f * f * f) * sixth
    u2 = (four - six * h * h + three * h * h * h) * sixth
    v0, v3 = k * k * k * sixth, g * g * g * sixth
    v1 = (four - six * g * g + three * g * g * g) * sixth
    v2 = (four - six * k * k + three * k * k * k) * sixth
    # Unsigned places spare the compiler the question whether they count from the end.
    wide, e1, e2, e3 = np.uint64(columns), np.uint64(1), np.uint64(2), np.uint64(3)
    a = np.uint64((j - 1) * columns + i - 1)
    b = a + wide
    c = b + wide
    d = c + wide
    west = (v0 * flat[a] + v1 * flat[b]) + (v2 * flat[c] + v3 * flat[d])
    left = (v0 * flat[a + e1] + v1 * flat[b + e1]) + (v2 * flat[c + e1] + v3 * flat[d + e1])
    right = (v0 * flat[a + e2] + v1 * flat[b + e2]) + (v2 * flat[c + e2] + v3 * flat[d + e2])
    east = (v0 * flat[a + e3] + v1 * flat[b + e3]) + (v2 * flat[c + e3] + v3 * flat[d + e3])
    total: float = (u0 * west + u1 * left) + (u2 * right + u3 * east)
    return total


@compiled
def _block_px(radius: int) -> int:
    """Side of the blocks whose residuals are summed: at least six by six of them."""
    return min(max(radius // 3, 3), 6)


@compiled
def _factorise(matrix: Real, lower: Real, size: int) -> bool:
    """Cholesky factor, rows by rows; false when the matrix is not positive definite."""
    for i in range(size):
        for j in range(i + 1):
            total = matrix[i, j]
            for k in range(j):
                total -= lower[i, k] * lower[j, k]
            if i == j:
                if total <= 1e-7 * matrix[i, i] + 1e-12:
                    return False
                lower[i, i] = np.sqrt(total)
            else:
                lower[i, j] = total / lower[j, j]
    return True


@compiled
def _solve(lower: Real, right: Real, size: int) -> None:
    """Solve in place with a Cholesky factor."""
    for i in range(size):
        total = right[i]
        for k in range(i):
            total -= lower[i, k] * right[k]
        right[i] = total / lower[i, i]
    for i in range(size - 1, -1, -1):
        total = right[i]
        for k in range(i + 1, size):
            total -= lower[k, i] * right[k]
        right[i] = total / lower[i, i]


@compiled
def _terms(order: int) -> int:
    return 3 if order == 1 else 6


@compiled
def _at(place: Real, t: float, s: float) -> float:
    """Value of one polynomial place[0..5] on 1, t, s, t^2, ts, s^2."""
    flat = place[0] + place[1] * t + place[2] * s
    total: float = flat + (place[3] * t + place[4] * s) * t + place[5] * s * s
    return total


@compiled
def _fill(
    before: Real32, use: Bytes, used: bool, there: Bytes, there_used: bool, place: Real,
    x: int, y: int, origin: Real, radius: int, order: int, sparse: int,
    columns: Real32, lx: NDArray[np.int32], ly: NDArray[np.int32], first: int,
) -> int:  # fmt: skip
    """Append the subset's pixels to the tables: the sparse quarter, or all the others."""
    rows, wide = before.shape
    terms = _terms(order)
    count = first
    step = 2 if sparse == 1 else 1
    rim, thin = int(origin[4]), origin[5] > 0
    for v in range(-radius, radius + 1, step):
        j = y + v
        if j < rim or j >= rows - rim:
            continue
        for u in range(-radius, radius + 1, step):
            if sparse == 0 and (u + radius) % 2 == 0 and (v + radius) % 2 == 0:
                continue
            if sparse == 0 and thin and (u + v) % 2 == 1:
                continue
            i = x + u
            if i < rim or i >= wide - rim or (used and use[j, i] == 0):
                continue
            t, s = u / radius, v / radius
            px, py = _at(place[0], t, s), _at(place[1], t, s)
            if px < rim or py < rim or px > origin[2] - rim - 1 or py > origin[3] - rim - 1:
                continue
            if there_used:
                # Masks of the after picture are looked up where the start says.
                gx, gy = int(np.round(px - origin[0])), int(np.round(py - origin[1]))
                if gx < 0 or gy < 0 or gx >= there.shape[1] or gy >= there.shape[0]:
                    continue
                if there[gy, gx] == 0:
                    continue
            here = before[j, i]
            east = (
                8 * (before[j, i + 1] - before[j, i - 1]) - before[j, i + 2] + before[j, i - 2]
            ) / 12
            south = (
                8 * (before[j + 1, i] - before[j - 1, i]) - before[j + 2, i] + before[j - 2, i]
            ) / 12
            row = columns[count]
            row[0], row[1], row[2] = east, east * t, east * s
            if order == 2:
                row[3], row[4], row[5] = east * t * t, east * t * s, east * s * s
            row[terms], row[terms + 1], row[terms + 2] = south, south * t, south * s
            if order == 2:
                row[terms + 3], row[terms + 4] = south * t * t, south * t * s
                row[terms + 5] = south * s * s
            row[2 * terms], row[2 * terms + 1] = here, 1.0
            row[2 * terms + 2], row[2 * terms + 3] = t, s
            lx[count], ly[count] = u, v
            count += 1
    return count


@compiled
def _gram(columns: Real32, first: int, last: int, size: int, out: Real) -> None:
    """Add the products of the columns over pixels first..last (lower triangle)."""
    for p in range(first, last):
        row = columns[p]
        for i in range(size):
            value = row[i]
            for j in range(i + 1):
                out[i, j] += value * row[j]


@compiled
def _gram_flat(
    columns: Real32, lx: NDArray[np.int32], ly: NDArray[np.int32], first: int, last: int,
    radius: int, out: Real,
) -> None:  # fmt: skip
    """The same for flat subsets: every column is a slope, a grey or 1, times 1, t or s.

    Along a row s does not change, so that 25 sums a pixel do for 55 products.
    """
    inverse = 1.0 / radius
    m = np.zeros((8, 6))
    p = first
    while p < last:
        v = ly[p]
        a0 = a1 = a2 = b0 = b1 = b2 = c0 = c1 = c2 = e0 = e1 = e2 = 0.0
        f0 = f1 = f2 = g0 = g1 = h0 = h1 = k0 = l0 = l1 = n1 = n2 = 0.0
        n0 = 0.0
        while p < last and ly[p] == v:
            t = lx[p] * inverse
            row = columns[p]
            x, y, z = np.float64(row[0]), np.float64(row[3]), np.float64(row[6])
            xt, yt = x * t, y * t
            a0 += x * x
            a1 += x * xt
            a2 += xt * xt
            b0 += x * y
            b1 += x * yt
            b2 += xt * yt
            c0 += y * y
            c1 += y * yt
            c2 += yt * yt
            e0 += x
            e1 += xt
            e2 += xt * t
            f0 += y
            f1 += yt
            f2 += yt * t
            g0 += x * z
            g1 += xt * z
            h0 += y * z
            h1 += yt * z
            k0 += z * z
            l0 += z
            l1 += z * t
            n0 += 1.0
            n1 += t
            n2 += t * t
            p += 1
        s = v * inverse
        _add_row(m[0], a0, a1, a2, s)
        _add_row(m[1], b0, b1, b2, s)
        _add_row(m[2], c0, c1, c2, s)
        _add_row(m[3], e0, e1, e2, s)
        _add_row(m[4], f0, f1, f2, s)
        _add_row(m[5], n0, n1, n2, s)
        m[6, 0] += g0
        m[6, 1] += g1
        m[6, 2] += g0 * s
        m[7, 0] += h0
        m[7, 1] += h1
        m[7, 2] += h0 * s
        m[7, 3] += k0
        m[7, 4] += l0
        m[7, 5] += l1
        out[9, 6] += l0 * s
    _set_flat(m, out)


@compiled
def _grams(
    columns: Real32, lx: NDArray[np.int32], ly: NDArray[np.int32], first: int, last: int,
    radius: int, order: int, out: Real,
) -> None:  # fmt: skip
    if order == 1:
        _gram_flat(columns, lx, ly, first, last, radius, out)
    else:
        _gram(columns, first, last, 2 * _terms(order) + TONE_TERMS, out)


@compiled
def _add_row(m: Real, one: float, t: float, tt: float, s: float) -> None:
    """Moments 1, t, s, tt, ts, ss of a row on which s is the same."""
    m[0] += one
    m[1] += t
    m[2] += one * s
    m[3] += tt
    m[4] += t * s
    m[5] += one * s * s


@compiled
def _set_flat(m: Real, out: Real) -> None:
    """Put the moments where the normal equations want them (lower triangle)."""
    # Which of 1, t, s, tt, ts, ss the product of two of 1, t, s is.
    for i in range(3):
        for j in range(3):
            k = i + j if i == 0 or j == 0 else (3 if i + j == 2 else (4 if i + j == 3 else 5))
            if j <= i:
                out[i, j] += m[0, k]
                out[3 + i, 3 + j] += m[2, k]
                out[7 + i, 7 + j] += m[5, k]
            out[3 + i, j] += m[1, k]
            out[7 + i, j] += m[3, k]
            out[7 + i, 3 + j] += m[4, k]
    for j in range(3):
        out[6, j] += m[6, j]
        out[6, 3 + j] += m[7, j]
    out[6, 6] += m[7, 3]
    out[7, 6] += m[7, 4]
    out[8, 6] += m[7, 5]


@compiled
def _right_flat(
    after: Real32, origin: Real, columns: Real32, lx: NDArray[np.int32], ly: NDArray[np.int32],
    pixels: int, place: Real, radius: int, right: Real, values: Real32,
) -> None:  # fmt: skip
    """One sampling of a flat subset: the values, and their sums with the ten columns."""
    inverse = 1.0 / radius
    rows, wide = after.shape
    flat = after.ravel()
    p = 0
    while p < pixels:
        v = ly[p]
        s = v * inverse
        x0 = place[0, 0] + place[0, 2] * s - origin[0]
        y0 = place[1, 0] + place[1, 2] * s - origin[1]
        a0 = a1 = b0 = b1 = c0 = d0 = d1 = 0.0
        while p < pixels and ly[p] == v:
            t = lx[p] * inverse
            value = _sample(flat, rows, wide, x0 + place[0, 1] * t, y0 + place[1, 1] * t)
            values[p] = value
            row = columns[p]
            x, y = row[0] * value, row[3] * value
            a0 += x
            a1 += x * t
            b0 += y
            b1 += y * t
            c0 += row[6] * value
            d0 += value
            d1 += value * t
            p += 1
        right[0] += a0
        right[1] += a1
        right[2] += a0 * s
        right[3] += b0
        right[4] += b1
        right[5] += b0 * s
        right[6] += c0
        right[7] += d0
        right[8] += d1
        right[9] += d0 * s


@compiled
def _move(place: Real, moved: Real, radius: int, order: int) -> None:
    """W <- W o (1 - d), kept to the polynomial's order."""
    terms = _terms(order)
    for axis in range(2):
        p = place[axis]
        c1, c2, c3, c4, c5 = p[1], p[2], p[3], p[4], p[5]
        for part in range(2):
            # Slope of W along t (part 0) or s (part 1): e + f t + g s.
            if part == 0:
                e, f, g = c1, 2 * c3, c4
            else:
                e, f, g = c2, c4, 2 * c5
            base = part * terms
            d0, d1, d2 = moved[base], moved[base + 1], moved[base + 2]
            p[0] -= e * d0 / radius
            p[1] -= (e * d1 + f * d0) / radius
            p[2] -= (e * d2 + g * d0) / radius
            if order == 2:
                d3, d4, d5 = moved[base + 3], moved[base + 4], moved[base + 5]
                p[3] -= (e * d3 + f * d1) / radius
                p[4] -= (e * d4 + f * d2 + g * d1) / radius
                p[5] -= (e * d5 + g * d2) / radius


@compiled
def _rounds(
    after: Real32, origin: Real, columns: Real32, lx: NDArray[np.int32], ly: NDArray[np.int32],
    pixels: int, lower: Real, place: Real, radius: int, order: int, most: int, close: float,
    right: Real, values: Real32,
) -> float:  # fmt: skip
    """Gauss-Newton rounds over the first ``pixels`` of the tables; the last move [px]."""
    size = 2 * _terms(order) + TONE_TERMS
    gain_at = 2 * _terms(order)
    inverse = 1.0 / radius
    last = 1e9
    rows, wide = after.shape
    flat = after.ravel()
    for _ in range(most):
        for k in range(size):
            right[k] = 0.0
        if order == 1:
            _right_flat(after, origin, columns, lx, ly, pixels, place, radius, right, values)
        else:
            for p in range(pixels):
                t, s = lx[p] * inverse, ly[p] * inverse
                value = _sample(
                    flat,
                    rows,
                    wide,
                    _at(place[0], t, s) - origin[0],
                    _at(place[1], t, s) - origin[1],
                )
                values[p] = value
                row = columns[p]
                for k in range(size):
                    right[k] += row[k] * value
        _solve(lower, right, size)
        gain = right[gain_at]
        if not gain > 1e-4:
            return 1e9
        last = 0.0
        for k in range(gain_at):
            right[k] /= gain
            last = max(last, abs(right[k]))
        if last > 4.0:
            return 1e9
        _move(place, right, radius, order)
        if last < close:
            break
    return last


@compiled
def _judge(
    columns: Real32, lx: NDArray[np.int32], ly: NDArray[np.int32],
    pixels: int, lower: Real, place: Real, radius: int, order: int, right: Real, blocks: Real,
    values: Real32, quality: Real,
) -> None:  # fmt: skip
    """Correlation, gain, contrast, and the sandwich covariance of the middle's move.

    ``right`` and ``values`` are those of the last round: its move, divided by the gain, still
    tells the values from the model's.
    """
    terms = _terms(order)
    size = 2 * terms + TONE_TERMS
    gain_at = 2 * terms
    gain = right[gain_at]
    sf = sff = sg = sgg = sfg = 0.0
    for p in range(pixels):
        value = values[p]
        row = columns[p]
        here = row[gain_at]
        sf += here
        sff += here * here
        sg += value
        sgg += value * value
        sfg += here * value
    for k in range(gain_at):
        right[k] *= gain
    ff, gg = sff - sf * sf / pixels, sgg - sg * sg / pixels
    quality[0] = (sfg - sf * sg / pixels) / np.sqrt(max(ff * gg, 1e-12))
    quality[1] = gain
    quality[2] = np.sqrt(max(ff, 0.0) / pixels)
    side = _block_px(radius)
    across = (2 * radius) // side + 1
    blocks[: across * across, :] = 0.0
    rest = 0.0
    for p in range(pixels):
        row = columns[p]
        model = 0.0
        for k in range(size):
            model += right[k] * row[k]
        r = values[p] - model
        rest += r * r
        b = ((ly[p] + radius) // side) * across + (lx[p] + radius) // side
        for k in range(size):
            blocks[b, k] += r * row[k]
    quality[3] = np.sqrt(rest / max(pixels - size, 1)) / max(abs(gain), 1e-9)
    # The two rows of the inverse that give the move of the middle.
    seen = 0
    xx = yy = xy = 0.0
    first, second = np.zeros(size), np.zeros(size)
    first[0], second[terms] = 1.0, 1.0
    _solve(lower, first, size)
    _solve(lower, second, size)
    for b in range(across * across):
        if blocks[b, gain_at + 1] == 0.0 and blocks[b, gain_at] == 0.0:
            continue
        seen += 1
        u = v = 0.0
        for k in range(size):
            u += first[k] * blocks[b, k]
            v += second[k] * blocks[b, k]
        xx += u * u
        yy += v * v
        xy += u * v
    widen = seen / max(seen - 0.5 * size, 1.0) / max(gain * gain, 1e-12)
    quality[4], quality[5], quality[6] = xx * widen, yy * widen, xy * widen
    # What white noise of the same size would leave: the bound of an even residual.
    quality[7] = quality[3] * quality[3] * first[0]
    quality[8] = quality[3] * quality[3] * second[terms]


@compiled
def find_subsets(
    before: Real32, use: Bytes, used: bool, after: Real32, there: Bytes, there_used: bool,
    corner: Real, origin: Real, xs: Real, ys: Real, places: Real, radius: int, order: int,
    least: float, reach: float, quality: Real, state: NDArray[np.int8],
) -> None:  # fmt: skip
    """Find each subset of ``before`` at (xs, ys) again, from ``places`` (n, 2, 6), in place.

    ``corner``: where before[0, 0] lies in its picture; ``origin``: the same for ``after``, the
    whole after picture's width and height, the rim of the pictures that is not used, and 1
    where every second pixel will do.
    ``quality`` (n, 9): correlation, gain, contrast, residual [grey of before], covariance xx,
    yy, xy of the middle's move [px2, before], and the same xx, yy for a white residual.
    """
    terms = _terms(order)
    size = 2 * terms + TONE_TERMS
    most = (2 * radius + 1) ** 2
    columns = np.zeros((most, size), dtype=np.float32)
    values = np.zeros(most, dtype=np.float32)
    lx, ly = np.zeros(most, dtype=np.int32), np.zeros(most, dtype=np.int32)
    gram, lower = np.zeros((size, size)), np.zeros((size, size))
    right = np.zeros(size)
    side = _block_px(radius)
    across = (2 * radius) // side + 1
    blocks = np.zeros((across * across, size))
    for n in range(xs.size):
        x, y = int(np.round(xs[n] - corner[0])), int(np.round(ys[n] - corner[1]))
        place = places[n]
        was_x, was_y = place[0, 0], place[1, 0]
        state[n] = COVERED
        some = _fill(before, use, used, there, there_used, place, x, y, origin, radius, order, 1,
                     columns, lx, ly, 0)  # fmt: skip
        count = _fill(before, use, used, there, there_used, place, x, y, origin, radius, order, 0,
                      columns, lx, ly, some)  # fmt: skip
        if count < least * most * (0.5 if origin[5] > 0 else 1.0) or count < 4 * size:
            continue
        state[n] = FLAT
        gram[:, :] = 0.0
        if some < 6 * size:
            some = count
        _grams(columns, lx, ly, 0, some, radius, order, gram)
        if not _factorise(gram, lower, size):
            continue
        state[n] = LOST
        moved = _rounds(after, origin, columns, lx, ly, some, lower, place, radius, order, 10,
                        0.03, right, values)  # fmt: skip
        if moved > 1.0:
            continue
        _grams(columns, lx, ly, some, count, radius, order, gram)
        if not _factorise(gram, lower, size):
            state[n] = FLAT
            continue
        moved = _rounds(after, origin, columns, lx, ly, count, lower, place, radius, order, 24,
                        0.02, right, values)  # fmt: skip
        if moved > 0.02 or np.hypot(place[0, 0] - was_x, place[1, 0] - was_y) > reach:
            continue
        _judge(columns, lx, ly, count, lower, place, radius, order, right, blocks,
               values, quality[n])  # fmt: skip
        state[n] = FOUND
