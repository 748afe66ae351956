"""The estimate: hand cases, properties over many random cases, and its band against formulas."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from scipy import stats

from quirewell.science.condition.estimate import Damage, Grading
from quirewell.science.condition.rules import TOP, Rule, RuleError, Rules, switched_off
from quirewell.science.condition.scale import TRADE, Scale, Step
from quirewell.stages.rule_table import built_in

ROLL = Damage("spine_roll", 4.0, "mm", 0.5, "spine")
TEAR = Damage("tear_cover", 40.0, "mm", 1.0, "cover")
CREASE = Damage("crease_colour", 60.0, "mm", 1.0, "cover")
TANNING = Damage("tanning", 3.0, "step", 0.5, "interior")
SPLIT = Damage("spine_split", 60.0, "pct", 2.0, "spine")
FOUR = (ROLL, TEAR, CREASE, TANNING)


def graded(*damages: Damage, rules: Rules | None = None) -> Grading:
    return Grading(damages, rules or built_in(), TRADE)


def test_the_worked_case_by_hand() -> None:
    """Our own table worked by hand: .30 + 1.20 + 1.50 + .75 = 3.75 off, 6.25, the step 6.0."""
    found = graded(*FOUR).estimate()
    assert found.raw.value == pytest.approx(6.25)
    assert (found.grade.value, found.binding) == (6.0, None)
    assert [(d.rule.code, round(d.points.value, 9)) for d in found.deductions] == [
        ("crease_colour", 1.5), ("tear_cover", 1.2), ("tanning", 0.75), ("spine_roll", 0.3),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "raw", "step"),
    [("spine_roll", 6.55, 6.5), ("tear_cover", 7.45, 7.0), ("crease_colour", 7.75, 7.5),
     ("tanning", 7.0, 7.0)],
)  # fmt: skip
def test_if_mended_by_hand(code: str, raw: float, step: float) -> None:
    """The same case with one damage gone: a small gain shows in the raw value only."""
    after = graded(*FOUR).without({code})
    assert (after.raw.value, after.grade.value) == (pytest.approx(raw), step)
    assert after.gain.value == pytest.approx(raw - 6.25)


def test_a_split_of_60_per_cent_binds_at_2_5() -> None:
    grading = graded(*FOUR, SPLIT)
    found = grading.estimate()
    assert found.raw.value == found.grade.value == 2.5
    assert found.binding is not None and found.binding.rule.id == "spine-split-half"
    assert grading.without({"tear_cover"}).gain.value == 0.0
    assert grading.without({"spine_split"}).raw.value == pytest.approx(6.25)


@pytest.mark.parametrize(
    ("damage", "raw"),
    [
        (Damage("spine_roll", 6.0, "mm", 0, "spine"), 5.0),
        (Damage("spine_roll", 1.0, "mm", 0, "spine"), 10.0),
        (Damage("spine_split", 100.0, "pct", 0, "spine"), 1.8),
        (Damage("spine_split", 80.0, "mm", 0, "spine"), 7.0),  # its cap of 3
        (Damage("tear_cover", 75.0, "mm", 0, "cover"), 4.0),
        (Damage("tear_interior", 75.0, "mm", 0, "interior"), 8.875),
        (Damage("loss_cover", 600.0, "mm2", 0, "cover"), 3.0),
        (Damage("loss_cover", 500.0, "mm2", 0, "cover"), 8.0),
        (Damage("cover_loose", 1.0, "n", 0, "cover"), 4.5),
        (Damage("cover_loose", 2.0, "n", 0, "cover"), 3.5),
        (Damage("foxing", 5.0, "pct", 0, ""), 9.5),
        (Damage("tideline", 25.0, "pct", 0, ""), 3.0),
        (Damage("mould", 1.0, "flag", 0, ""), 2.5),
        (Damage("leaf_missing", 1.0, "n", 0, "interior"), 0.5),
        (Damage("tape", 20.0, "mm", 0, "interior"), 9.3),
        (Damage("tape", 20.0, "mm", 0, "cover"), 3.5),
        (Damage("tear_seal", 9.0, "n", 0, "cover"), 10.0),
    ],
)
def test_rows_of_the_table_by_hand(damage: Damage, raw: float) -> None:
    """Starting rows (common practice, no source) worked by hand, one damage each."""
    assert graded(damage).estimate().raw.value == pytest.approx(raw)


def test_two_tears_are_added_up_but_the_longest_alone_meets_the_ceiling() -> None:
    two = Damage("tear_cover", 50.0, "mm", 0, "cover", "c.outer.left")
    other = Damage("tear_cover", 40.0, "mm", 0, "cover", "c.outer.right")
    found = graded(two, other).estimate()
    assert found.raw.value == pytest.approx(10 - 0.03 * 90)
    assert found.limits == ()


def plain_raw(damages: list[Damage], rules: Rules) -> float:
    """The definition, written again without arrays."""
    taken, tops = 0.0, [TOP]
    for rule in rules.rows:
        met = [d.extent for d in damages if d.code == rule.code and d.unit == rule.unit
               and rule.location in ("any", d.location)]  # fmt: skip
        if not met:
            continue
        amount = sum(met) if rule.over == "sum" else max(met)
        if rule.kind == "deduct":
            taken += min(max(0.0, amount - rule.start) / rule.per * rule.value, rule.cap)
        elif rule.kind == "ceiling" and amount >= rule.start:
            tops.append(rule.value)
    return min(TOP, max(0.0, min(*tops, TOP - taken)))


MOST = {"mm": 90.0, "mm2": 900.0, "pct": 100.0, "n": 4.0, "step": 9.0, "dE": 14.0, "flag": 1.0}


def some_damage(rng: random.Random, rules: Rules, count: int) -> list[Damage]:
    out = []
    for _ in range(count):
        rule = rng.choice([one for one in rules.rows if one.kind in ("deduct", "ceiling")])
        where = rng.choice(("cover", "interior", "spine")) if rule.location == "any" else ""
        most = MOST[rule.unit] * rng.choice((0.05, 0.3, 1.0))
        extent = rng.choice((0.0, most * rng.random(), most))
        out.append(Damage(rule.code, extent, rule.unit, 0.0, where or rule.location))
    return out


def test_more_damage_never_raises_the_grade_in_20_000_cases() -> None:
    rng, draw = random.Random(1936), np.random.default_rng(1936)
    cases = 0
    for _ in range(200):
        damages = some_damage(rng, built_in(), rng.randint(1, 9))
        grading = graded(*damages)
        most = np.array([MOST[one.unit] for one in grading.damages])
        base = most * draw.random((100, len(damages))) ** 3
        # One damage or all grow; an extent that starts at 0 is a damage added.
        grows = draw.random((100, len(damages))) < draw.choice([0.2, 1.0], size=(100, 1))
        base = np.where(draw.random(base.shape) < 0.2, 0.0, base)
        more = base + grows * most * draw.random(base.shape)
        before, after = grading.raw_of(base), grading.raw_of(more)
        assert (after <= before + 1e-12).all()
        steps = [(TRADE.index(b), TRADE.index(a)) for b, a in zip(before, after, strict=True)]
        assert all(after_step <= before_step for before_step, after_step in steps)
        cases += len(base)
    assert cases == 20_000


def test_the_value_is_its_definition_whatever_the_order_of_rows_and_damage() -> None:
    rng = random.Random(7)
    rows = list(built_in().rows)
    for _ in range(300):
        damages = some_damage(rng, built_in(), rng.randint(0, 8))
        rng.shuffle(rows)
        found = graded(*damages, rules=Rules(tuple(rows))).estimate()
        assert found.raw.value == pytest.approx(plain_raw(damages, built_in()), abs=1e-9)
        rng.shuffle(damages)
        again = graded(*damages).estimate()
        assert (again.raw, again.deductions) == (found.raw, found.deductions)
        assert found.raw.low90 <= found.raw.value <= found.raw.high90


def test_a_treatment_that_is_told_changes_nothing() -> None:
    rng = random.Random(11)
    told = [Damage(rule.code, 3.0 if rule.unit != "flag" else 1.0, rule.unit)
            for rule in built_in().rows if rule.kind == "separate"]  # fmt: skip
    assert len(told) > 5
    for _ in range(50):
        damages = some_damage(rng, built_in(), 5)
        plain, with_told = graded(*damages).estimate(), graded(*damages, *told).estimate()
        assert with_told.raw.value == plain.raw.value
        assert len(with_told.treatments) == len(told) and not plain.treatments


def test_every_rated_code_has_a_rule_and_a_switched_off_one_is_told() -> None:
    off = built_in().laid_over([Rule("spine-roll", "", "off"), Rule("spine-roll-limit", "", "off")])
    found = graded(ROLL, TEAR, rules=off).estimate()
    assert [one.code for one in found.unrated] == ["spine_roll"]
    assert found.raw.value == pytest.approx(8.8)
    assert graded(Damage("tanning", 3.0, "mm")).estimate().unrated != ()


def test_the_band_of_one_log_normal_deduction_is_the_closed_one() -> None:
    """Quantiles of exp(N(0, .4)): exp(+-1.645 x .4)."""
    found = graded(Damage("tear_cover", 40.0, "mm", 0.0, "cover")).estimate()
    points = found.deductions[0].points
    assert points.low90 == pytest.approx(1.2 * math.exp(-0.4 * 1.645), rel=0.05)
    assert points.high90 == pytest.approx(1.2 * math.exp(0.4 * 1.645), rel=0.05)
    assert found.raw.low90 == pytest.approx(TOP - points.high90)


def test_the_band_of_extents_alone_follows_the_law_of_propagation() -> None:
    """u^2 = (.03 x 4)^2 + (.25 x .5)^2 where the rules themselves are sure (``jcgm100`` 5.1.2)."""
    sure = Rules((
        Rule("a", "tear", "deduct", unit="mm", value=0.03),
        Rule("b", "tone", "deduct", unit="step", value=0.25),
    ))  # fmt: skip
    found = graded(Damage("tear", 40.0, "mm", 4.0), Damage("tone", 4.0, "step", 0.5), rules=sure)
    unsure = found.estimate().unsure
    assert found.estimate().raw.u == pytest.approx(math.hypot(0.12, 0.125), rel=0.05)
    assert unsure.extents == pytest.approx(1.0) and unsure.rules == unsure.unseen == 0.0
    assert unsure.by_extents is not None and unsure.by_extents.code == "tone"


def test_a_band_at_a_ceiling_has_the_chance_of_either_side() -> None:
    """An extent one u over the ceiling's start: it holds in Phi(1) of the cases."""
    rules = Rules((Rule("a", "split", "ceiling", unit="pct", start=50, value=2.5),))
    found = graded(Damage("split", 60.0, "pct", 10.0), rules=rules).estimate()
    held = sum(chance for step, chance in found.chances if step.value == 2.5)
    assert held == pytest.approx(stats.norm.cdf(1.0), abs=0.02)
    assert sum(chance for _, chance in found.chances) == pytest.approx(1.0)


def test_what_was_not_looked_at_reaches_down_and_leaves_the_value() -> None:
    seen = graded(TEAR).estimate()
    hidden = graded(TEAR, Damage("not_looked_at", 1.0, "flag", 0, "interior")).estimate()
    assert hidden.raw.value == seen.raw.value
    assert hidden.raw.low90 < seen.raw.low90 - 0.5
    assert hidden.unsure.unseen > 0.2 > seen.unsure.unseen == 0.0


def test_no_damage_is_the_top_of_the_scale() -> None:
    found = graded().estimate()
    assert (found.raw.value, found.raw.u, found.grade.value) == (10.0, 0.0, 10.0)
    assert found.unsure.widest is None


def test_chances_of_a_return_add_up_and_spread_with_its_noise() -> None:
    grading = graded(*FOUR)
    sure, loose = grading.returned(0.05), grading.returned(1.0)
    assert sum(chance for _, chance in sure) == pytest.approx(1.0)
    assert max(c for _, c in sure) > max(c for _, c in loose)


def by_root(*damages: Damage) -> Grading:
    return Grading(damages, built_in(), TRADE, by_root=True)


def test_kinds_added_by_the_root_of_their_squares_by_hand() -> None:
    """sqrt(.30^2 + 1.20^2 + 1.50^2 + .75^2) = sqrt(4.3425) = 2.0839 off: 7.9161, the step 7.5."""
    found = by_root(*FOUR).estimate()
    assert found.raw.value == pytest.approx(10 - math.sqrt(4.3425), abs=1e-9)
    assert found.grade.value == 7.5
    assert found.raw.low90 <= found.raw.value <= found.raw.high90


def test_ten_trifles_do_not_weigh_as_one_loss_and_one_kind_alone_weighs_the_same() -> None:
    """Ten kinds of .1 each: .316 instead of 1; one kind however often: as before."""
    ten = Rules(tuple(Rule(f"r{k}", f"c{k}", "deduct", value=0.1) for k in range(10)))
    trifles = tuple(Damage(f"c{k}", 1.0, "flag") for k in range(10))
    assert Grading(trifles, ten, TRADE).estimate().raw.value == pytest.approx(9.0)
    rooted = Grading(trifles, ten, TRADE, by_root=True).estimate()
    assert rooted.raw.value == pytest.approx(10 - math.sqrt(0.1))
    twice = (TEAR, TEAR)
    assert by_root(*twice).estimate().raw.value == graded(*twice).estimate().raw.value


def test_by_root_more_damage_never_raises_the_grade_in_4_000_cases() -> None:
    rng, draw = random.Random(7), np.random.default_rng(7)
    for _ in range(40):
        damages = some_damage(rng, built_in(), rng.randint(1, 9))
        grading = by_root(*damages)
        extents = np.array([[one.extent for one in grading.damages]])
        more = extents + np.where(
            draw.random((100, len(damages))) < 0.4, draw.exponential(20, (100, len(damages))), 0.0
        )
        before, after = grading.raw_of(extents)[0], grading.raw_of(more)
        assert np.all(after <= before + 1e-12)
        assert before >= graded(*damages).raw_of(extents)[0] - 1e-12, "never below the plain sum"


def test_by_root_mending_gains_at_most_what_is_off() -> None:
    grading = by_root(*FOUR)
    gone = grading.without(("crease_colour",))
    assert gone.raw.value == pytest.approx(10 - math.sqrt(4.3425 - 2.25), abs=1e-9)


def test_rows_of_a_user_replace_add_and_switch_off() -> None:
    own = [
        Rule("spine-roll", "spine_roll", "deduct", "spine", "mm", start=1, value=0.05),
        Rule("worm", "worm_track", "deduct", unit="mm", value=0.01),
        Rule("tanning", "", "off"),
    ]
    laid = built_in().laid_over(own, "1 with ours")
    found = graded(*FOUR, Damage("worm_track", 30.0, "mm"), rules=laid).estimate()
    assert found.raw.value == pytest.approx(10 - 0.15 - 1.2 - 1.5 - 0.3)
    assert len(laid.rows) == len(built_in().rows) + 1 and laid.version == "1 with ours"
    assert switched_off(laid.codes["worm_track"][0]).kind == "off"
    with pytest.raises(RuleError, match="cannot be switched off"):
        built_in().laid_over([Rule("nothing-here", "", "off")])
    with pytest.raises(RuleError, match="twice"):
        built_in().laid_over([own[0], own[0]])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"kind": "bonus"}, "kind is one of"), ({"unit": "inch"}, "unit is one of"),
        ({"location": "attic"}, "location is one of"), ({"value": 11.0}, "value lies between"),
        ({"value": -1.0}, "value lies between"), ({"per": 0.0}, "per is above 0"),
        ({"kind": "ceiling"}, "from is above 0"), ({"code": "Tear Cover"}, "code is small letters"),
        ({"cap": -1.0}, "cap is 0 or more"), ({"spread": 3.0}, "spread of a deduction"),
        ({"kind": "offset", "value": 6.0}, "offset lies between"), ({"code": ""}, "not be empty"),
        ({"kind": "ceiling", "start": 1.0, "spread": 6.0}, "spread is up to"),
    ],
)  # fmt: skip
def test_a_rule_that_cannot_be_names_its_column(change: dict[str, object], says: str) -> None:
    good = {"id": "a", "code": "tear", "kind": "deduct", "unit": "mm", "value": 0.03}
    with pytest.raises(RuleError, match=says):
        Rule(**(good | change))  # type: ignore[arg-type]


@pytest.mark.parametrize("numbers", [(5.0,), (5.0, 5.0), (6.0, 5.0), (0.5, 11.0)])
def test_a_scale_that_cannot_be_is_refused(numbers: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"scale|steps?"):
        Scale(tuple(Step(one, "a") for one in numbers))


def test_a_sum_of_decimals_falls_on_its_own_step() -> None:
    assert TRADE.floor(10 - 0.7 - 0.3).value == 9.0
    assert TRADE.floor(0.1).value == 0.5 and TRADE.middle(10.0) == 10.0


def test_a_negative_extent_is_refused() -> None:
    with pytest.raises(ValueError, match="extent is 0 or more"):
        Damage("tear_cover", -1.0, "mm")
    with pytest.raises(ValueError, match="u of an extent"):
        Damage("tear_cover", 1.0, "mm", -1.0)
