"""Run in the peers' environment: CIELAB D50 and CIEDE2000 by colour-science.

Arguments: sRGB values (n, 3) as .npy in, CIELAB as .npy out, CIEDE2000 of neighbours out.
"""

import sys
import warnings

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

source, lab_out, de_out = sys.argv[1:]
rgb = np.load(source)
d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
xyz = colour.RGB_to_XYZ(
    rgb, "sRGB", illuminant=d50, chromatic_adaptation_transform="Bradford",
    apply_cctf_decoding=True,
)  # fmt: skip
lab = colour.XYZ_to_Lab(xyz, d50)
np.save(lab_out, lab)
np.save(de_out, colour.delta_E(lab[:-1], lab[1:], method="CIE 2000"))
