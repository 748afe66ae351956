"""Ten jobs on five and on ten machines (``lawrence1984``): optima 666 and 945."""

import pytest

from project_cases import job_shop, within
from quirewell.science.planning.bench_plan import solve
from quirewell.science.planning.bench_plan_check import check


def test_ten_jobs_on_five_machines_end_at_666():
    project, optimum = job_shop("la01")
    assert optimum == 666
    found = solve(*project)
    assert (found.status, found.makespan) == ("proved", 666)
    assert check(*project, found.starts) == ()


@pytest.mark.slow
def test_ten_jobs_on_ten_machines_end_at_945():
    project, optimum = job_shop("la16")
    assert optimum == 945
    found = solve(*project, time_limit_s=300)
    assert (found.status, found.makespan) == ("proved", 945)
    assert check(*project, found.starts) == ()


@pytest.mark.slow
def test_a_published_optimum_less_one_is_impossible():
    project, optimum = job_shop("la01")
    found = solve(*within(project, optimum - 1))
    assert (found.status, found.starts) == ("impossible", None)
