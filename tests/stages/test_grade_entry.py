"""Damage as noted becomes the table of the grade estimate; what no rule counts is told."""

from __future__ import annotations

from dataclasses import dataclass, field

from quirewell.record.nouns import Defect, Gathering, Item, ItemState
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


def drawn(term: str, place: str, region: str, extent: str = "", u_mm: float | None = 0.3) -> str:
    made = Defect("d1", place, term, extent, region=region, u_mm=u_mm)
    state = ItemState("annual", 1, Item("Annual"), Gathering(2, height_mm=250, width_mm=160),
                      defects={"d1": made})  # fmt: skip
    return damage_table(state)


def test_what_was_drawn_goes_before_what_was_typed_and_keeps_its_u() -> None:
    text = drawn("tear", "c.outer.right", "line 0,0 30,40", "about 3 cm, at the head")
    (read,) = read_defects(text, rules_in_force(""))
    # 50 mm by Pythagoras; both ends at 0.3 mm: 0.3 sqrt 2 (JCGM 100, 5.1.2).
    assert (read.code, read.extent, read.unit, read.u) == ("tear_cover", 50.0, "mm", 0.424)
    assert read.location == "cover" and read.note == "about 3 cm, at the head"


def test_an_area_counts_as_missing_area_and_as_a_share_of_its_page() -> None:
    square = "polygon 10,10 30,10 30,30 10,30"
    (lost,) = read_defects(drawn("loss", "w01.outer.left", square), rules_in_force(""))
    assert (lost.code, lost.extent, lost.unit) == ("loss_interior", 400.0, "mm2")
    (stain,) = read_defects(drawn("tideline", "w01.outer.left", square), rules_in_force(""))
    # 400 of 160 x 250 mm is 1 per cent.
    assert (stain.extent, stain.unit) == (1.0, "pct") and stain.u > 0


def test_how_well_it_was_drawn_is_not_made_up_where_nobody_said() -> None:
    text = drawn("tear", "w01.outer.left", "line 0,0 30,40", u_mm=None)
    assert "tear,w01.outer.left,50,,mm," in text


def test_a_shape_that_the_rules_cannot_count_gives_way_to_what_was_typed() -> None:
    (read,) = read_defects(
        drawn("loss", "w01.outer.left", "line 0,0 30,40", "12 mm2 gone"), rules_in_force("")
    )
    assert read.extent == 12.0
    assert drawn("loss", "w01.outer.left", "line 0,0 30,40").splitlines()[1].startswith("# loss")
    # Presence is enough where the rules ask for no more.
    (rust,) = read_defects(drawn("rusted staple", "w01", "line 0,0 3,0"), rules_in_force(""))
    assert (rust.code, rust.extent) == ("staple_rust", 1.0)


def test_an_amount_noted_while_drawing_is_read_with_its_u() -> None:
    line = "line 0,0 30,40"
    text = drawn("tear", "c", line, "50.0 mm ± 1.6 mm, at the head")
    (read,) = read_defects(text, rules_in_force(""))
    assert (read.extent, read.u, read.note) == (50.0, 0.8, "at the head")
    stain = drawn("tideline", "c", "polygon 0,0 9,0 9,9", "2.4 % ± 0.4 %, 81 mm2 ± 12 mm2")
    (read,) = read_defects(stain, rules_in_force(""))
    assert (read.extent, read.unit, read.u) == (2.4, "pct", 0.2)


def test_words_of_the_trade_for_drawn_damage_are_counted_by_their_rules() -> None:
    noted = [
        Defect("d1", "c.outer.left", "colour-breaking crease", "60.0 mm ± 1.4 mm"),
        Defect("d2", "w01.outer.left", "staple pull", "4 mm"),
    ]
    state = ItemState("a", 1, Item("Copperbeck Garden Annual"), defects={d.id: d for d in noted})
    table = damage_table(state)
    assert [one.code for one in read_defects(table, rules_in_force(""))] == [
        "crease_colour", "staple_pull",
    ]  # fmt: skip
