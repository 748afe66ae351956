"""Two ways compared, through the page: planned, sized, locked, and refused in place."""

from __future__ import annotations

from web.conftest import Bench

WAYS = {"way_a": "cold, one wrap at a time", "way_b": "warm, two wraps at a time"}


def test_a_trial_is_planned_and_locked_and_the_lock_stays(bench: Bench) -> None:
    page = bench.client.get(bench.url("/trial")).text
    assert "Pair them and draw the lot" in page
    form = {"kind": "wash", **WAYS, "seed": "dice 4 2"}
    done = bench.client.post(bench.url("/trial/plan"), data=form)
    assert done.status_code == 200 and "Pairs needed" in done.text
    # w01 of this studio was scanned after treatment: the trial can be planned and not locked.
    (trial,) = bench.state.trials.values()
    assert trial.seed == "dice 4 2" and len(trial.pairs) == 1
    refused = bench.client.post(bench.url("/trial/lock"), data={"id": trial.id})
    assert refused.status_code == 422 and "The margin comes before the measuring" in refused.text
    dropped = bench.client.post(bench.url("/trial/aside"), data={"id": trial.id})
    assert dropped.status_code == 200 and not bench.state.trials


def test_two_ways_that_are_one_are_refused_with_what_was_typed(bench: Bench) -> None:
    form = {"kind": "wash", "way_a": WAYS["way_a"], "way_b": WAYS["way_a"], "seed": "<b>x</b>"}
    refused = bench.client.post(bench.url("/trial/plan"), data=form)
    assert refused.status_code == 422
    assert "The two ways are the same" in refused.text and "&lt;b&gt;x&lt;/b&gt;" in refused.text
