"""Damage as noted becomes the table of the grade estimate; what no rule counts is told."""

from __future__ import annotations

from dataclasses import dataclass, field

from quirewell.record.nouns import Defect
from quirewell.stages.defect_table import read_defects
from quirewell.stages.grade_entry import damage_table
from quirewell.stages.methods import run_method
from quirewell.stages.rule_table import rules_in_force


@dataclass
class Noted:
    """As much of an item as the table reads."""

    defects: dict[str, Defect] = field(default_factory=dict)


def table(*rows: tuple[str, str, str]) -> str:
    made = [Defect(f"d{at}", place, term, extent) for at, (place, term, extent) in enumerate(rows)]
    return damage_table(Noted({one.id: one for one in made}))  # type: ignore[arg-type]


def test_the_amount_that_begins_a_note_is_read_and_the_rest_is_kept() -> None:
    text = table(
        ("c", "spine split", "24 mm from the foot"), ("w01", "tear", "10 to 15 mm, at the head"),
        ("staples", "rusted staple", "both, brown through"),
    )  # fmt: skip
    read = read_defects(text, rules_in_force(""))
    assert [(one.code, one.extent) for one in read] == [
        ("spine_split", 24.0), ("tear_interior", 12.5), ("staple_rust", 1.0)
    ]  # fmt: skip
    assert "both, brown through" in text


def test_what_no_rule_counts_stands_as_a_remark_with_its_reason() -> None:
    text = table(("item", "tideline", "along the foot, 15 to 28 mm high"), ("c", "tear", "8 mm"))
    assert "# tideline,item" in text and "tear,c,8 mm" in text
    # The remark is passed over when the table is worked out.
    run = run_method("condition.grade", "plan", {}, (), {"defects": text})
    assert [one.subject for one in run.findings if one.quantity == "condition.deduction"] == [
        "tear-cover"
    ]


def test_nothing_noted_leaves_the_box_empty_and_after_treatment_does_not_count() -> None:
    assert table() == ""
    later = Defect("d1", "c", "tear", "8 mm", moment="after")
    assert damage_table(Noted({"d1": later})) == ""  # type: ignore[arg-type]
