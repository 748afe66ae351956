"""Lime water against Bates, Bower and Smith, J. Res. NBS 56 (1956) 305 (``bates1956``).

The abstract gives: a solution saturated at 25 C is about 0.0203 M, reads pH 12.45, holds a
buffer capacity of 0.09 mol/L per pH, changes by -0.28 pH when diluted with its own volume of
water and by -0.033 pH per degree. Molality differs from molarity by 0.2 % here.
"""

import pytest

from quirewell.science.bath import engine, oracle

NBS_MOLAL = 0.0203


@pytest.fixture(params=[engine, oracle], ids=["engine", "oracle"])
def solver(request):
    return request.param


def test_ph_of_the_standard_solution_at_25_c(solver):
    assert solver.speciate(NBS_MOLAL, 25.0).ph == pytest.approx(12.45, abs=0.02)


def test_ph_of_water_saturated_at_25_c(solver):
    assert solver.saturate(25.0).ph == pytest.approx(12.45, abs=0.02)


def test_concentration_at_saturation_within_five_per_cent(solver):
    assert solver.saturate(25.0).ca_mol_per_kg == pytest.approx(0.0203, rel=0.05)


def test_buffer_value(solver):
    step = 0.001
    if solver is engine:
        less, more = engine.titrate(NBS_MOLAL, 25.0, [0.0, step])
    else:
        less, more = (
            oracle.speciate(NBS_MOLAL, 25.0, acid_mol_per_kg=acid) for acid in (0.0, step)
        )
    assert step / (less.ph - more.ph) == pytest.approx(0.09, abs=0.01)


def test_dilution_value(solver):
    change = solver.speciate(NBS_MOLAL / 2, 25.0).ph - solver.speciate(NBS_MOLAL, 25.0).ph
    assert change == pytest.approx(-0.28, abs=0.03)


def test_temperature_coefficient(solver):
    warm, cool = solver.speciate(NBS_MOLAL, 26.0).ph, solver.speciate(NBS_MOLAL, 24.0).ph
    assert (warm - cool) / 2 == pytest.approx(-0.033, abs=0.002)
