"""Run by the peers' own Python: affine + B-spline registration by elastix at half scale.

Usage: python elastix_field.py BEFORE.npy AFTER.npy POINTS.npy OUT.npz
POINTS (n, 2) are places in BEFORE [px]; OUT holds where they lie in AFTER [px] and the seconds.
"""

from __future__ import annotations

import sys
import time

import itk
import numpy as np


def _half(picture: np.ndarray) -> np.ndarray:
    rows, columns = (side // 2 * 2 for side in picture.shape)
    part = picture[:rows, :columns].astype(np.float32)
    return part.reshape(rows // 2, 2, columns // 2, 2).mean(axis=(1, 3))


def main(before_path: str, after_path: str, points_path: str, out_path: str) -> None:
    before, after = (_half(np.load(path)) for path in (before_path, after_path))
    points = np.load(points_path)
    start = time.perf_counter()
    parameters = itk.ParameterObject.New()
    for kind, levels in (("affine", 5), ("bspline", 4)):
        table = dict(parameters.GetDefaultParameterMap(kind, levels))
        table["Registration"] = ["MultiResolutionRegistration"]
        table["Metric"] = ["AdvancedNormalizedCorrelation"]
        if kind == "bspline":
            table.pop("FinalGridSpacingInPhysicalUnits", None)
            table["FinalGridSpacingInVoxels"] = ["96"]
        table["MaximumNumberOfIterations"] = ["600"]
        table["NumberOfSpatialSamples"] = ["8000"]
        table["NewSamplesEveryIteration"] = ["true"]
        table["FinalBSplineInterpolationOrder"] = ["3"]
        table["WriteResultImage"] = ["false"]
        parameters.AddParameterMap(table)
    fixed, moving = (itk.GetImageFromArray(part) for part in (before, after))
    _, found = itk.elastix_registration_method(
        fixed, moving, parameter_object=parameters, log_to_console=False
    )
    field = itk.transformix_deformation_field(moving, found)
    field = np.asarray(itk.GetArrayFromImage(field))
    seconds = time.perf_counter() - start
    at = (points + 0.5) / 2 - 0.5
    x, y = (
        np.clip(at[:, 0], 0, before.shape[1] - 1.001),
        np.clip(at[:, 1], 0, before.shape[0] - 1.001),
    )
    i, j = x.astype(int), y.astype(int)
    f, g = (x - i)[:, None], (y - j)[:, None]
    moved = (1 - g) * ((1 - f) * field[j, i] + f * field[j, i + 1]) + g * (
        (1 - f) * field[j + 1, i] + f * field[j + 1, i + 1]
    )
    np.savez(out_path, at=(at + moved + 0.5) * 2 - 0.5, seconds=seconds)


if __name__ == "__main__":
    main(*sys.argv[1:5])
