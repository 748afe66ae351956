"""Colour: Lab and CIEDE2000 maps beside scikit-image in the same run; charts; paper tone.

Run as a script with "peer" it measures scikit-image in the peers' environment and prints JSON.
The simulated cameras of ``spectral_bench`` are invented; the measured ones come from
colour-science in the peers' environment.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[1]
PEERS = ROOT / ".venv-peers" / "bin" / "python"
SHAPE = (7016, 4961, 3)
_SIM = Path(__file__).parent / "colour_spectra.py"


def bench() -> dict[str, Any]:
    """Rows: maps (seconds, ratio, error), finding charts, characterisation, tone of dense pages."""
    sys.path.insert(0, str(ROOT / "tests"))
    return {
        "maps, 35 MP": _maps(),
        "chart found": _charts(),
        "paper change from a chart photo": _characterised(),
        "tone of dense pages": _dense_pages(),
    }


def _pixels() -> Any:
    return np.random.default_rng(35).integers(0, 256, SHAPE).astype(np.uint8)


def _best(task: Any, rounds: int = 3) -> tuple[float, float, Any]:
    """Least seconds on the clock, least seconds of the processor (all threads), result."""
    times, worked, out = [], [], None
    for _ in range(rounds):
        start, busy = time.perf_counter(), time.process_time()
        out = task()
        times.append(time.perf_counter() - start)
        worked.append(time.process_time() - busy)
    return min(times), min(worked), out


def _maps() -> dict[str, float]:
    from quirewell.science.colour.difference import ciede2000
    from quirewell.science.colour.maps import ciede2000_map, lab_map
    from quirewell.science.colour.spaces import lab_from_srgb

    pixels = _pixels()
    lab_map(pixels[:8])
    lab_s, lab_cpu, lab = _best(lambda: lab_map(pixels))
    other = lab + np.float32(1.5)
    ciede2000_map(lab[:8], other[:8])
    de_s, de_cpu, de = _best(lambda: ciede2000_map(lab, other))
    rows = slice(0, 300)
    lab_error = float(np.abs(lab[rows] - lab_from_srgb(pixels[rows] / 255.0)).max())
    de_error = float(np.abs(de[rows] - ciede2000(lab[rows], other[rows])).max())
    peer = json.loads(
        subprocess.run(
            [PEERS, "-P", __file__, "peer"], check=True, capture_output=True, text=True, timeout=600
        ).stdout
    )
    return {
        "lab_s": lab_s,
        "ciede2000_s": de_s,
        "lab_error": lab_error,
        "ciede2000_error": de_error,
        "scikit-image lab_s": peer["lab_s"],
        "scikit-image ciede2000_s": peer["de_s"],
        "lab_ratio": peer["lab_s"] / lab_s,
        "ciede2000_ratio": peer["de_s"] / de_s,
        "lab_ratio, processor time": peer["lab_cpu"] / lab_cpu,
        "ciede2000_ratio, processor time": peer["de_cpu"] / de_cpu,
        "scikit-image peak_mb": peer["peak_mb"],
    }


def _peer() -> None:
    """scikit-image on the same picture: float32 in, its quicker way; D50 white, 2 degrees."""
    from skimage import color

    pixels = _pixels()
    light = pixels.astype(np.float32) / np.float32(255)
    lab_s, lab_cpu, lab = _best(lambda: color.rgb2lab(light, illuminant="D50"), 2)
    other = lab + np.float32(1.5)
    de_s, de_cpu, _ = _best(lambda: color.deltaE_ciede2000(lab, other), 1)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    times = {"lab_s": lab_s, "de_s": de_s, "lab_cpu": lab_cpu, "de_cpu": de_cpu}
    print(json.dumps({**times, "peak_mb": peak}))


def _charts() -> dict[str, float]:
    from chart_pictures import shoot
    from quirewell.science.imaging.chart import NoChart, find_chart

    mix = np.array([[0.8, 0.25, 0.05], [0.1, 0.85, 0.1], [0.02, 0.25, 0.6]])
    rng = np.random.default_rng(24)
    found, seconds, wrong = 0, 0.0, 0
    count = 100
    for seed in range(count):
        shot = shoot(
            seed, turn_deg=float(rng.uniform(0, 360)), tilt=float(rng.uniform(0, 0.3)), mix=mix,
            scale=float(rng.uniform(0.8, 2.4)), noise=float(rng.uniform(0.3, 3.0)),
            ground=float(rng.uniform(0.02, 0.8)), exposure=float(rng.uniform(0.4, 1.0)),
        )  # fmt: skip
        start = time.perf_counter()
        try:
            chart = find_chart(shot.pixels)
        except NoChart:
            chart = None
        seconds += time.perf_counter() - start
        if chart is not None:
            good = np.hypot(*(chart.middle_px - shot.middle_px).T).max() < 8.0
            found, wrong = found + good, wrong + (not good)
    return {
        "pictures": count,
        "found": int(found),
        "wrong": int(wrong),
        "seconds_each": seconds / count,
    }


def _characterised() -> dict[str, Any]:
    """Error of a paper's change and of its tone, by camera and light; noise 0.3 % a patch."""
    from quirewell.science.colour import fit_target
    from quirewell.science.colour.difference import ciede2000
    from spectral_bench import CAMERAS, chart, lab, papers, seen_by

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "spectra.npz"
        subprocess.run([PEERS, "-P", _SIM, file], check=True, capture_output=True, timeout=300)
        measured = dict(np.load(file))
    cases = {
        f"invented {camera}, {light}": (chart(), seen_by(camera, light))
        for camera in CAMERAS
        for light in ("D50", "D65")
    }
    names = [name for name in measured if name.startswith("camera")]
    lights = [name for name in measured if name.startswith("light")]
    for name in names:
        for light in lights:
            response = measured[name] * measured[light][:, None]
            cases[f"measured {name}, {light}"] = (measured["chart"], response / response.sum(0))
    before, after, test = papers(40, 2), papers(40, 2, share=0.6), papers(60, 4)
    planted = ciede2000(lab(before), lab(after))
    rows: dict[str, Any] = {}
    for name, (patches, response) in cases.items():
        change, tone, inside, repeat = [], [], [], []
        for seed in range(8):
            rng = np.random.default_rng(seed)

            def seen(r: Any, noise: float, rng: Any = rng, response: Any = response) -> Any:
                return (r @ response) * (1 + noise * rng.standard_normal((len(r), 3)))

            fit = fit_target(seen(patches, 0.003), lab(patches))
            got = ciede2000(fit.predict(before @ response), fit.predict(after @ response))
            change.append(np.abs(got - planted))
            error = fit.predict(test @ response) - lab(test)
            tone.append(ciede2000(fit.predict(test @ response), lab(test)))
            inside.append(np.abs(error) < 2 * np.array(fit.u_lab))
            twice = [fit.predict(seen(before, 0.001)) for _ in range(2)]
            repeat.append(ciede2000(*twice) / np.sqrt(2))
        rows[name] = {
            "change_error_mean": float(np.mean(change)),
            "change_error_p95": float(np.quantile(change, 0.95)),
            "tone_error_mean": float(np.mean(tone)),
            "inside_2u": float(np.mean(inside)),
            "repeatability_at_0.1pct_noise": float(np.sqrt(np.mean(np.square(repeat)))),
        }
    rows["planted change, mean"] = float(planted.mean())
    return rows


def _dense_pages() -> dict[str, float]:
    from quirewell.demo.scenes import render_leaf
    from quirewell.science.imaging.leaf import find_leaf
    from quirewell.science.imaging.leaf_tone import leaf_tone
    from quirewell.science.imaging.strip import find_strip

    errors, bare_only = [], []
    for seed in range(12):
        pixels, truth = render_leaf(seed, 150)
        strip = find_strip(np.ascontiguousarray(pixels[..., 1]))
        px_mm = truth.um_per_px_x / 1000.0
        leaf = find_leaf(pixels, px_mm, "whole", [strip.box_px] if strip else [])
        tone = leaf_tone(pixels, leaf, px_mm) if leaf else None
        if tone is None:
            continue
        errors.append(np.array(tone.summary.median) - truth.tone_median)
        bare = tone.tiles.lab[tone.tiles.bare]
        bare_only.append(np.median(bare, axis=0) - truth.tone_median)
    return {
        "pages": len(errors),
        "mean_dL": float(np.mean(errors, axis=0)[0]),
        "rms_dL": float(np.sqrt(np.mean(np.square(errors), axis=0))[0]),
        "rms_da": float(np.sqrt(np.mean(np.square(errors), axis=0))[1]),
        "rms_db": float(np.sqrt(np.mean(np.square(errors), axis=0))[2]),
        "mean_dL of bare tiles alone": float(np.mean(bare_only, axis=0)[0]),
    }


if __name__ == "__main__":
    if sys.argv[1:] == ["peer"]:
        _peer()
    else:
        print(json.dumps(bench(), indent=2))
