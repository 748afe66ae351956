"""Run by the peers' own Python: an affine from before to after by SimpleITK.

Usage: python register_sitk.py BEFORE.npy AFTER.npy AFFINE.npy
The affine (2 x 3) is written in pixels, pixel centres at whole numbers.
"""

from __future__ import annotations

import sys

import numpy as np
import SimpleITK as sitk


def main(before_path: str, after_path: str, out_path: str) -> None:
    before, after = (
        sitk.GetImageFromArray(np.load(path).astype(np.float32))
        for path in (before_path, after_path)
    )
    start = sitk.CenteredTransformInitializer(
        before, after, sitk.AffineTransform(2), sitk.CenteredTransformInitializerFilter.GEOMETRY
    )
    method = sitk.ImageRegistrationMethod()
    method.SetMetricAsCorrelation()
    method.SetInterpolator(sitk.sitkBSpline)
    method.SetOptimizerAsRegularStepGradientDescent(1.0, 1e-6, 400, 0.6, 1e-10)
    method.SetOptimizerScalesFromPhysicalShift()
    method.SetShrinkFactorsPerLevel([4, 2, 1])
    method.SetSmoothingSigmasPerLevel([3.0, 1.0, 0.7])
    method.SetInitialTransform(start, inPlace=True)
    method.Execute(before, after)
    affine = sitk.AffineTransform(start)
    matrix = np.array(affine.GetMatrix()).reshape(2, 2)
    centre = np.array(affine.GetCenter())
    shift = np.array(affine.GetTranslation()) + centre - matrix @ centre
    np.save(out_path, np.column_stack([matrix, shift]))


if __name__ == "__main__":
    main(*sys.argv[1:4])
