"""A quote begun from the option taken: its hours at the rate of the books, and its materials."""

from __future__ import annotations

from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.stages.quoting import Row, hourly, row_of
from quirewell.stages.weighed_json import as_json

METHOD, SUBJECT = "options.weigh", "plan"
# Lines of a weighing that an owner is asked for besides the hours.
ASKED = ("materials", "fee of the service", "post")
_TENTH = Decimal("0.1")


def begun_rows(state: ItemState, bench: BenchState) -> tuple[Row, ...]:
    """Lines of the option taken (of the best one where none was); none where nothing was weighed.

    Hours are the mean of the weighing, to a tenth; what they cost is left to be typed where no rate
    is set.
    """
    run, choice = state.newest_run(METHOD, SUBJECT), state.choices.get("choice")
    if choice is not None and choice.run in state.runs:
        run = state.runs[choice.run]
    if run is None:
        return ()
    told = as_json(run)
    wanted = choice.option if choice is not None else told["best"]
    mine = next((one for one in told["options"] if one["name"] == wanted), None)
    if mine is None or not mine["hours"]["value"]:
        return ()
    hours = Decimal(repr(mine["hours"]["value"])).quantize(_TENTH)
    rows = [row_of(mine["name"], hours, None, hourly(bench))]
    for line in mine["lines"]:
        if line["name"] in ASKED and line["amount"]:
            asked = abs(Decimal(repr(line["amount"])))
            rows.append(row_of(line["name"].capitalize(), None, asked, None))
    return tuple(rows)
