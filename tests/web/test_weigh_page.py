"""The decide page weighs the options of an item: with three prices and a little damage."""

from __future__ import annotations

import re
from typing import Any

from quirewell.stages.weigh_entry import weighing_of
from web.conftest import Bench

BASIC = {"low": "60", "likely": "100", "high": "200"}
DAMAGE = "code,location,extent\ntear,cover,40 mm\ncrease,cover,60 mm\nspine_split,spine,45 mm"


def weigh(bench: Bench, **form: str) -> Any:
    return bench.client.post(bench.url("/decide/weigh"), data={**BASIC, **form})


def weighed(bench: Bench) -> dict[str, Any]:
    found = weighing_of(bench.state)
    assert found is not None
    return found[1]


def test_three_prices_are_enough(bench: Bench) -> None:
    before = bench.client.get(bench.url("/decide")).text
    assert "Weigh them" in before and 'class="gain"' not in before
    answer = weigh(bench)
    assert answer.status_code == 200
    assert "Leave it alone" in answer.text
    assert "note what you see" in answer.text  # no damage: the page says what to do
    assert weighed(bench)["best"] == "Leave alone"


def test_the_table_shows_what_the_run_found(bench: Bench) -> None:
    page = weigh(bench, defects=DAMAGE, hour="2", currency="crowns").text
    found = weighed(bench)
    assert found["unit"] == "crowns"
    assert page.count('class="gain"') == len(found["options"]) == 4
    assert found["says"].replace("'", "&#39;") in page or found["says"] in page
    for one in found["options"]:
        assert one["name"] in page
        total = round(sum(line["amount"] for line in one["lines"]), 2)
        assert total == one["net_gain"]["value"]


def test_each_line_stands_in_the_fold_and_they_add_up(bench: Bench) -> None:
    page = weigh(bench, defects=DAMAGE, hour="2").text
    fold = page.split("Partial treatment: how its number comes about")[1].split("</table>")[0]
    cells = re.findall(r'<td class="number">([^<]+)</td>', fold)
    amounts = [float(one.replace("\u2212", "-").replace("\u202f", "")) for one in cells]
    assert len(amounts) > 4
    assert abs(sum(amounts[:-1]) - amounts[-1]) < 0.005


def test_permanence_has_no_money_in_it(bench: Bench) -> None:
    page = weigh(bench, defects=DAMAGE, hour="25", aim="permanence", life="2.1, 1.3, 3.2",
                 currency="crowns").text  # fmt: skip
    section = page.split('id="working-weigh"')[1].split("Weigh it again")[0]
    assert "2.1 times as long" in section
    assert "crowns" not in section and 'class="gain"' not in section
    assert "worth now" not in section
    assert weighed(bench)["best"] == "Full treatment"
    assert bench.state.own_options["options"].aim == "permanence"


def test_own_options_are_kept_and_flagged(bench: Bench) -> None:
    rows = "option,hours,factor_pct\nTrim the edges,1,260\nFold it anew,0.5,100"
    page = weigh(bench, defects=DAMAGE, hour="2", options=rows).text
    found = weighed(bench)
    trimmed = next(one for one in found["options"] if one["name"] == "Trim the edges")
    assert "never proposed here" in trimmed["flag"]
    assert trimmed["net_gain"]["value"] == max(o["net_gain"]["value"] for o in found["options"])
    assert found["best"] != "Trim the edges"
    assert "Trim the edges, flagged:" in page
    assert bench.state.own_options["options"].text == rows
    again = bench.client.get(bench.url("/decide")).text
    assert "Fold it anew,0.5,100" in again


def test_what_was_wrong_stands_at_its_box_and_nothing_typed_is_lost(bench: Bench) -> None:
    for form, box in (
        ({"likely": "10"}, "likely"), ({"hour": "twenty"}, "hour"), ({"grade": "11"}, "grade"),
        ({"options": "option,hours\nMine,many"}, "options"), ({"fee": "-3"}, "fee"),
        ({"life": "-1"}, "life"), ({"prices": "3 80"}, "prices"),
    ):  # fmt: skip
        answer = weigh(bench, **form)
        assert answer.status_code == 422, form
        text = next(iter(form.values()))
        assert f'id="wrong-{box}"' in answer.text, form
        assert text.split("\n")[0] in answer.text
    assert weighing_of(bench.state) is None


def test_an_option_is_taken_with_its_reason_and_can_be_undone(bench: Bench) -> None:
    none = bench.client.post(bench.url("/decide/choose"), data={"option": "Press only"})
    assert none.status_code == 422 and "Weigh the options first" in none.text
    weigh(bench, defects=DAMAGE, hour="2", options="option,hours\nBleach it,1")
    form = {"option": "Press only", "reason": "its creases hide the lettering"}
    page = bench.client.post(bench.url("/decide/choose"), data=form).text
    assert "Taken: <b>Press only</b>, because: its creases hide the lettering" in page
    chosen = bench.state.choices["choice"]
    found = weighing_of(bench.state)
    assert found is not None and chosen.run == found[0].id
    seq = re.findall(r'name="seq" value="(\d+)"', page)[0]
    bench.client.post(bench.url("/undo"), data={"seq": seq, "back": bench.url("/decide")})
    assert "choice" not in bench.state.choices
    flagged = bench.client.post(bench.url("/decide/choose"), data={"option": "Bleach it"})
    assert flagged.status_code == 422 and "Say why it is taken all the same" in flagged.text
    other = bench.client.post(bench.url("/decide/choose"), data={"option": "Sell the staples"})
    assert other.status_code == 422 and "There is no option" in other.text


def test_a_newer_estimate_of_the_grade_is_told_and_taken(bench: Bench) -> None:
    weigh(bench, defects=DAMAGE)
    bench.client.post(
        bench.url("/decide/grade"), data={"defects": "code,location,extent\ntear,cover,90 mm"}
    )
    page = bench.client.get(bench.url("/decide")).text
    assert "weigh again" in page
    box = page.split('id="weigh-defects"')[1].split("</textarea>")[0]
    assert "90 mm" in box and "spine_split" not in box


def test_nothing_worth_and_nothing_profitable_still_answer(bench: Bench) -> None:
    page = weigh(bench, low="0", likely="0", high="0", defects=DAMAGE).text
    assert "it brings nothing" in page and "Leave it alone" in page
    page = weigh(bench, low="", likely="", high="", defects=DAMAGE, life="2").text
    assert "no price is known" in page and "2 times as long" in page


def test_an_option_of_ones_own_joins_by_a_form(bench: Bench) -> None:
    weigh(bench, defects=DAMAGE, hour="2")
    form = {"name": "Press the cover only", "step.press": "yes", "hours": "0.2/0.4/1",
            "materials": "1", "factor_pct": "95"}  # fmt: skip
    answer = bench.client.post(bench.url("/decide/own-option"), data=form)
    assert answer.status_code == 200
    mine = {one["name"]: one for one in weighed(bench)["options"]}["Press the cover only"]
    assert (mine["kind"], mine["steps"]) == ("own", ["press"])
    assert round(mine["factor"]["value"], 3) == 0.95
    bench.client.post(bench.url("/decide/own-option"), data={**form, "hours": "3"})
    found = [one for one in weighed(bench)["options"] if one["name"] == "Press the cover only"]
    assert [one["hours"]["value"] for one in found] == [3.0]


def test_an_own_option_that_cannot_be_is_refused_where_it_was_typed(bench: Bench) -> None:
    weigh(bench, defects=DAMAGE)
    url = bench.url("/decide/own-option")
    runs = len(bench.state.runs)
    nameless = bench.client.post(url, data={"name": " ", "hours": "1"})
    assert nameless.status_code == 422 and "Give the option a name" in nameless.text
    for hours in ("9/3", "a lot", "-1", "1e999"):
        wrong = bench.client.post(url, data={"name": "Mine", "hours": hours})
        assert wrong.status_code == 422
        assert "hours is one to three numbers" in wrong.text or "Hours" in wrong.text
        assert f'value="{hours}"' in wrong.text
    assert len(bench.state.runs) == runs
