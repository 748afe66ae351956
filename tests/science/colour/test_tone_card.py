"""One's own ladder of paper tones."""

import pytest

from quirewell.science.colour.tone_card import Step, card_text, on_card, read_card

CARD = read_card("white 92 0 4\ncream 85 2 14\ntan 76 5 22\nbrown 66 8 27")
SURE = (0.4, 0.3, 0.4)


def test_a_tone_on_a_step_is_that_step():
    for index, step in enumerate(CARD):
        found = on_card(step.lab, SURE, CARD)
        assert found.step == index and found.probability[index] > 0.99 and not found.off
        assert sum(found.probability) == pytest.approx(1.0)


def test_a_tone_half_way_is_either_with_like_probability():
    found = on_card((80.6, 3.5, 18.0), SURE, CARD)
    assert not found.off
    assert found.probability[1] + found.probability[2] == pytest.approx(1.0, abs=0.01)
    assert "cream" in found.says and "tan" in found.says


def test_less_certain_tones_spread_over_more_steps():
    sure, unsure = (on_card((77.5, 4.7, 21.0), u, CARD) for u in (SURE, (4.0, 2.0, 4.0)))
    assert max(sure.probability) > max(unsure.probability)


@pytest.mark.parametrize(
    ("lab", "says"),
    [
        ((99.0, 0.0, -8.0), "lighter"),
        ((45.0, 12.0, 30.0), "darker"),
        ((80.0, -25.0, 10.0), "another hue"),
    ],
)
def test_a_tone_off_the_ladder_is_said_to_be(lab, says):
    found = on_card(lab, SURE, CARD)
    assert found.off and says in found.says


def test_the_same_question_has_the_same_answer():
    assert on_card((79.0, 4.0, 19.0), SURE, CARD) == on_card((79.0, 4.0, 19.0), SURE, CARD)


def test_a_card_is_read_back_from_its_line():
    assert read_card(card_text(CARD)) == CARD
    assert read_card("1 80,2,10; 2 70 4 20")[0] == Step("1", (80.0, 2.0, 10.0))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "2 to 40 steps"),
        ("1 80 2 10", "got 1"),
        ("1 80 2 10; 1 70 3 12", "two steps"),
        ("1 80 2 10; 2 80 2 10.05", "same tone"),
        ("1 80 2 10; 2 brown", "a name and L"),
        ("1 80 2 10; 2 180 2 10", "a name and L"),
        ("1 80 2 10; 2 nan 2 10", "a name and L"),
        ("x " * 3000, "at most 40"),
    ],
)
def test_what_is_no_card_is_told_so(text, says):
    with pytest.raises(ValueError, match=says):
        read_card(text)
