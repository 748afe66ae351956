"""Run in the peers' environment: XYZ, CIELAB, whiteness and yellowness by colour-science.

Arguments: reflectance (n, 81), 380 to 780 nm by 5 nm, as .npy in; .npz out.
"""

import sys
import warnings

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

source, target = sys.argv[1:]
nm = np.arange(380, 781, 5)
shape = colour.SpectralShape(380, 780, 5)
out = {}
for illuminant in ("C", "D50", "D65"):
    for observer, name in (
        ("2", "CIE 1931 2 Degree Standard Observer"),
        ("10", "CIE 1964 10 Degree Standard Observer"),
    ):
        seen = colour.MSDS_CMFS[name].copy().align(shape)
        light = colour.SDS_ILLUMINANTS[illuminant].copy().align(shape)
        out[f"{illuminant}/{observer}"] = np.array(
            [
                colour.sd_to_XYZ(
                    colour.SpectralDistribution(row, nm), seen, light, method="Integration"
                )
                for row in np.load(source)
            ]
        )
d65 = out["D65/10"]
ten = "CIE 1964 10 Degree Standard Observer"
coefficients = sys.modules["colour.colorimetry.yellowness"].YELLOWNESS_COEFFICIENTS_ASTME313
factors = coefficients[ten]["D65"]
out["yellowness"] = colour.yellowness(d65, method="ASTM E313", C_XZ=factors)
xy = colour.CCS_ILLUMINANTS["CIE 1964 10 Degree Standard Observer"]["D65"]
white = colour.xy_to_XYZ(xy) * 100
out["whiteness"] = colour.colorimetry.whiteness_CIE2004(
    colour.XYZ_to_xy(d65), d65[:, 1], xy, "CIE 1964 10 Degree Standard Observer"
)
cameras = list(colour.MSDS_CAMERA_SENSITIVITIES.values())
out["cameras"] = np.array([camera.copy().align(shape).values for camera in cameras])
chart = next(entry for entry in colour.SDS_COLOURCHECKERS.values() if len(entry) == 24)
out["chart"] = np.array([patch.copy().align(shape).values for patch in chart.values()])
np.savez(target, **out)
