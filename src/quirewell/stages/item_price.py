"""How the question of what an item would bring begins: own sales of the books, and the grade."""

from __future__ import annotations

from quirewell.record.bench import BenchState
from quirewell.record.nouns import ItemState
from quirewell.stages.books import grade_of
from quirewell.stages.item_money import currency_of
from quirewell.stages.own_sales import plain, sales_of, same_title, table_of

MOST_OTHERS = 300
FEW = 4  # sales of the title below which the range typed by hand comes first


def begins(state: ItemState, bench: BenchState) -> tuple[dict[str, str], dict[str, str], str]:
    """Boxes that give way to what was typed before, boxes laid anew each time, and a sentence.

    Sales of other titles in the same currency come along: they tell how price goes with grade and
    time, while the level stays the title's own.
    """
    title = state.item.title
    own = sales_of(bench, title)
    first: dict[str, str] = {}
    grade, by = grade_of(state)
    if grade is not None:
        first["grade"] = plain(grade)
    first["currency"] = currency_of(state, bench)
    laid: dict[str, str] = {}
    graded = [one for one in own if one.grade is not None]
    if own:
        units = {one.currency for one in own}
        others = [
            one for one in sales_of(bench)
            if one.grade is not None and one.currency in units and not same_title(one.title, title)
        ][-MOST_OTHERS:] if len(units) == 1 and graded else []  # fmt: skip
        laid["sales"] = table_of((*others, *own))
        laid["item"] = own[-1].title if others else ""
    word = "sale" if len(graded) == 1 else "sales"
    said = (
        f"{len(graded)} {word} of this title with a grade are laid in from the books."
        if graded
        else "No sale of this title with a grade is in the books yet."
    )
    if len(graded) < FEW:
        said += " So few say little: type what you think it would fetch."
    if grade is not None:
        said += f" The grade is {by}."
    return first, laid, said
