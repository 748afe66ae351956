"""The fixed calcium hydroxide buffer against the table of HJ 1147-2020 (``hj1147``).

The table holds for a solution saturated at 25 C (0.0203 mol/kg) and then brought to another
temperature, not for water saturated at that temperature. Read in public code that carries the
standard's table.
"""

import pytest

from quirewell.science.bath import engine, oracle

ROWS = [
    (0.0, 13.416, 0.02),
    (10.0, 13.011, 0.015),
    (20.0, 12.637, 0.015),
    (30.0, 12.292, 0.010),
    (40.0, 11.975, 0.02),
]


@pytest.mark.parametrize(("temperature_c", "ph", "tolerance"), ROWS)
@pytest.mark.parametrize("solver", [engine, oracle], ids=["engine", "oracle"])
def test_fixed_composition_follows_the_table(solver, temperature_c, ph, tolerance):
    assert solver.speciate(0.0203, temperature_c).ph == pytest.approx(ph, abs=tolerance)


def test_table_is_not_that_of_a_solution_saturated_at_each_temperature():
    """The difference a reader must not overlook: 0.03 pH at 10 C."""
    assert engine.saturate(10.0).ph - 13.011 > 0.02
