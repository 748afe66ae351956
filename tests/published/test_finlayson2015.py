"""Finlayson, Mackiewicz and Hurlbert 2015 (``finlayson2015``): what depends on exposure.

Their claim: linear and root-polynomial characterisation do not change with the exposure, plain
polynomials do. Checked by computation on invented spectra, with both of our models, and with a
plain polynomial made here as the counter-example.
"""

import numpy as np
import pytest

from quirewell.science.colour import fit_target
from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_xyz, xyz_from_lab
from spectral_bench import chart, lab, seen_by

EXPOSURES = (0.25, 0.7, 1.6)


@pytest.mark.parametrize("model", ["linear", "root"])
@pytest.mark.parametrize("exposure", EXPOSURES)
def test_both_models_scale_with_the_light(model, exposure):
    light = chart() @ seen_by("overlapping")
    fit = fit_target(light, lab(chart()), model=model)
    assert fit.predict_xyz(exposure * light) == pytest.approx(
        exposure * fit.predict_xyz(light), rel=1e-12, abs=1e-15
    )


@pytest.mark.parametrize("model", ["linear", "root"])
def test_a_target_shot_darker_is_fitted_to_the_same_colours(model):
    light = chart() @ seen_by("narrow")
    one = fit_target(light, lab(chart()), model=model)
    two = fit_target(0.4 * light, lab(chart()), model=model)
    assert two.predict(0.4 * light) == pytest.approx(one.predict(light), abs=1e-6)


def test_a_plain_polynomial_does_change_with_the_light():
    light, wanted = chart() @ seen_by("overlapping"), xyz_from_lab(lab(chart()))

    def powers(x):
        r, g, b = x.T
        return np.stack([r, g, b, r * g, g * b, r * b, r * r, g * g, b * b], -1)

    matrix = np.linalg.lstsq(powers(light), wanted, rcond=None)[0]
    usual = lab_from_xyz(powers(light) @ matrix)
    darker = lab_from_xyz(np.maximum(powers(0.4 * light) @ matrix / 0.4, 0))
    assert ciede2000(darker, usual).mean() > 0.4
