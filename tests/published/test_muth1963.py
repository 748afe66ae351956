"""The job shop of six jobs on six machines (``muth1963``): optimum 55."""

from project_cases import job_shop
from quirewell.science.planning.bench_plan import solve
from quirewell.science.planning.bench_plan_check import check


def test_six_jobs_on_six_machines_end_at_55():
    project, optimum = job_shop("ft06")
    assert optimum == 55
    found = solve(*project)
    assert (found.status, found.makespan, found.bound) == ("proved", 55, 55)
    assert check(*project, found.starts) == ()


def test_the_rule_ends_no_earlier_and_says_that_it_proves_nothing():
    project, _ = job_shop("ft06")
    found = solve(*project, by="rule")
    assert (found.status, found.by) == ("found", "rule")
    assert found.bound <= 55 < found.makespan
    assert check(*project, found.starts) == ()
