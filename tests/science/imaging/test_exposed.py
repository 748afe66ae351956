"""What the package shows of itself stays a function, whatever was loaded before."""

from __future__ import annotations

import importlib

import numpy as np
import pytest

from quirewell.science import imaging


@pytest.mark.parametrize("name", ["ink_mask", "normals"])
def test_the_exposed_names_are_functions_even_after_the_stages_loaded(name: str) -> None:
    importlib.import_module("quirewell.stages.comparing_inks")
    importlib.import_module("quirewell.stages.relieving")
    assert callable(getattr(imaging, name)) and name in imaging.__all__


def test_they_work_on_plain_arrays() -> None:
    grey = np.full((60, 80), 200, np.uint8)
    grey[20:40, 20:60] = 30
    assert imaging.ink_mask(grey)[25:35, 25:55].all() and not imaging.ink_mask(grey)[:10].any()
    lights = np.array([[0.5, 0, 0.8], [-0.5, 0, 0.8], [0, 0.5, 0.8], [0, -0.5, 0.8]])
    found = imaging.normals(np.ones((4, 5, 6)), lights, np.ones((5, 6), dtype=bool))
    assert np.allclose(found, [0, 0, 1])
