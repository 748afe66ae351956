"""Water content of paper in air (``paltakari1997``), constants through public code that cites it.

The table is computed here from those constants; what it holds against is their reading and units.
"""

import numpy as np
import pytest

from quirewell.science.paper.isotherm import water_content

WATER = {
    10: (0.0502, 0.0612, 0.0712, 0.0809, 0.0910, 0.1022, 0.1155, 0.1343),
    20: (0.0440, 0.0542, 0.0636, 0.0728, 0.0824, 0.0931, 0.1059, 0.1241),
    30: (0.0381, 0.0475, 0.0562, 0.0649, 0.0740, 0.0841, 0.0963, 0.1140),
}


@pytest.mark.parametrize("temperature_c", WATER)
def test_water_content_through_public_code(temperature_c):
    found = water_content(float(temperature_c), np.arange(0.2, 0.95, 0.1))
    assert found == pytest.approx(WATER[temperature_c], abs=5.1e-5)


def test_per_cent_and_kelvin_are_refused():
    with pytest.raises(ValueError, match="per cent"):
        water_content(20.0, 50.0)
    with pytest.raises(ValueError, match="-20 to 80"):
        water_content(293.0, 0.5)
