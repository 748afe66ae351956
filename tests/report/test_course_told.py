"""The report says by which course, edition and step a sheet was treated."""

from quirewell.record.nouns import Step
from quirewell.report.content import _step


def test_a_step_of_a_course_says_so_and_another_does_not() -> None:
    by = Step("step-1", "wash", ("w01",), "done", recipe="slow-way@1", recipe_step="wash")
    said = "by the course Slow way: one wrap a tray, cold, edition 1, step Cold bath"
    assert said in _step(by)["facts"]
    assert not [fact for fact in _step(Step("step-1", "wash", ("w01",)))["facts"]
                if "course" in str(fact)]  # fmt: skip
    gone = Step("step-1", "wash", ("w01",), "done", recipe="ours@3", recipe_step="soak")
    assert "by the course ours, edition 3, step soak" in _step(gone)["facts"]
