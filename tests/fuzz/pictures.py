"""Pictures, good and bad, and the way an upload takes: header, then decoded in a limited worker."""

from __future__ import annotations

import io
import resource
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

import imagecodecs
import numpy as np
import tifffile
from PIL import Image

from picture_files import wide_profile
from quirewell.jobs.limited import LimitedWorkers
from quirewell.studio.image_kind import ImageError
from quirewell.studio.images import load_limited
from raw_files import stripes, write_raw

ROOT = Path(__file__).parents[1]
TASK = "fuzz.pictures.look_at_all"
# A file of a few kilobytes is opened in a hundredth of this, unless it asks for much.
LONGEST_S = 60.0
MOST_BYTES = 2 << 30


def seeds() -> dict[str, tuple[bytes, ...]]:
    """Small pictures of every kind that is taken, by kind."""
    with tempfile.TemporaryDirectory() as folder:
        return _made(Path(folder))


def _pixels(kind: type = np.uint8) -> np.ndarray:
    y, x = np.mgrid[:48, :64]
    top = np.iinfo(kind).max
    return np.stack([x / 64, y / 48, (x + y) / 112], axis=2).astype(float).__mul__(top).astype(kind)


def _made(folder: Path) -> dict[str, tuple[bytes, ...]]:
    return {
        "jpeg": (*_jpegs(),),
        "png": (*_pngs(),),
        "tiff": (*_tiffs(folder),),
        "heic": ((ROOT / "data" / "leaf.heic").read_bytes(),),
        "raw": (write_raw(folder / "one.dng", stripes()).read_bytes(),),
        "other": (*_others(),),
    }


def _saved(image: Image.Image, kind: str, **how: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def _jpegs() -> Iterable[bytes]:
    image = Image.fromarray(_pixels())
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x0110] = 6, "Larkmoor", "P7"
    exif.get_ifd(0x8769)[0x829A] = 0.01
    profile = wide_profile()
    yield _saved(image, "JPEG", exif=exif, icc_profile=profile, dpi=(300, 300))
    yield _saved(image, "JPEG", progressive=True, subsampling=2)
    yield _saved(image.convert("L"), "JPEG")


def _pngs() -> Iterable[bytes]:
    image = Image.fromarray(_pixels())
    yield _saved(image, "PNG", dpi=(300, 300), icc_profile=wide_profile())
    yield _saved(image.quantize(16), "PNG")
    yield bytes(imagecodecs.png_encode(_pixels(np.uint16)))


def _tiffs(folder: Path) -> Iterable[bytes]:
    eight, sixteen = _pixels(), _pixels(np.uint16)
    ways = (
        (eight, {"compression": "zlib", "iccprofile": wide_profile()}),
        (eight, {"compression": "lzw", "predictor": True}),
        (sixteen, {"rowsperstrip": 7}),
        (eight, {"tile": (16, 32), "compression": "zlib"}),
        (eight, {"bigtiff": True}),
        (eight, {"compression": "jpeg"}),
        (eight, {"planarconfig": "separate", "byteorder": ">"}),
    )
    for number, (pixels, how) in enumerate(ways):
        path = folder / f"{number}.tif"
        given = np.moveaxis(pixels, 2, 0) if "planarconfig" in how else pixels
        tifffile.imwrite(path, np.ascontiguousarray(given), photometric="rgb",
                         resolution=(300, 300), **how)  # type: ignore[arg-type]  # fmt: skip
        yield path.read_bytes()


def _others() -> Iterable[bytes]:
    image = Image.fromarray(_pixels())
    for kind in ("GIF", "WEBP", "BMP"):
        yield _saved(image, kind)


def look_at_all(paths: Sequence[str]) -> list[tuple[str, str, float]]:
    """In a worker: what became of each file ("read", "refused", or the fault), what was said, and
    the processor time it took [s]."""
    out = []
    for path in paths:
        before = resource.getrusage(resource.RUSAGE_SELF)
        try:
            picture = load_limited(path)
            rows, columns, channels = picture.pixels.shape
            assert channels == 3 and rows * columns <= 250_000_000
            did = ("read", "")
        except ImageError as error:
            did = ("refused", str(error)) if str(error).strip() else ("fault", "nothing is said")
        except Exception as error:
            did = ("fault", f"{type(error).__name__}: {str(error)[:300]}")
        after = resource.getrusage(resource.RUSAGE_SELF)
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        out.append((*did, spent))
    return out


def look(workers: LimitedWorkers, paths: Sequence[Path]) -> list[tuple[str, str, float]]:
    """What became of each file. A worker that dies is asked again file by file, as an upload
    is; there its death is a sentence, which counts as "lost"."""
    answer = workers.call(TASK, [str(path) for path in paths], limit_s=LONGEST_S * 4)
    if answer.ok:
        return list(answer.result)
    if len(paths) == 1:
        return [("lost" if answer.expected else "fault", answer.error, 0.0)]
    half = len(paths) // 2
    return look(workers, paths[:half]) + look(workers, paths[half:])
