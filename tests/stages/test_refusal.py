"""A refusal is a sentence, and travels as exceptions do."""

from contextlib import contextmanager

import pytest

from quirewell.stages.refusal import Problem, Refusal


def test_refusal_says_all_its_problems():
    refusal = Refusal((Problem("a", "First."), Problem("b", "Second.")), rule="ink-test")
    assert str(refusal) == "First. Second."
    assert refusal.rule == "ink-test"


def test_refusal_passes_through_a_context_unchanged():
    @contextmanager
    def context():
        yield

    with pytest.raises(Refusal, match="First"), context():
        raise Refusal((Problem("a", "First."),))
