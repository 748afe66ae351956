"""Run in the peers' environment: measured camera sensitivities, lights and a chart's spectra.

Written by 380 to 780 nm by 5 nm as .npz: ``camera1``.., ``light1``.. (daylight, two white LEDs, a
fluorescent lamp), ``chart`` (24, 81).
"""

import sys
import warnings

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

    shape = colour.SpectralShape(380, 780, 5)

    def even(spectrum):
        return spectrum.copy().align(shape).values

    out = {}
    for number, camera in enumerate(colour.MSDS_CAMERA_SENSITIVITIES.values(), 1):
        out[f"camera{number}"] = even(camera)
    for number, name in enumerate(("D50", "LED-B3", "LED-B5", "FL11"), 1):
        out[f"light{number}"] = even(colour.SDS_ILLUMINANTS[name])
    chart = next(entry for entry in colour.SDS_COLOURCHECKERS.values() if len(entry) == 24)
    out["chart"] = np.array([even(patch) for patch in chart.values()])
np.savez(sys.argv[1], **out)
