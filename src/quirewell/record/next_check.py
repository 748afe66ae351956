"""The day on which an item is to be looked at again, by what its record says."""

from __future__ import annotations

from datetime import date

from quirewell.record.nouns import ItemState


def ended_on(state: ItemState) -> str:
    """The day the last step was done; empty where none was."""
    days = [(step.done_at or step.started_at)[:10] for step in state.steps.values()
            if step.state == "done"]  # fmt: skip
    return max((day for day in days if _is_day(day)), default="")


def next_check_on(state: ItemState) -> tuple[str, str]:
    """The day of the next check and why, as (day, words); the day is empty where none is due.

    It is the day asked for, or a year after the last step or the last check.
    """
    ended = ended_on(state)
    looked = max((one.on for one in state.laters.values()), default="")
    if "sold" in state.sold:
        return "", "It was sold; its checks are its owner's now."
    asked = state.next_checks.get("next_check")
    if asked is not None and asked.on > looked:
        return asked.on, "asked for" + (f": {asked.note}" if asked.note else "")
    if not ended:
        return "", "No step of a treatment is recorded as done yet."
    why = "a year after the last check" if looked >= ended else "a year after the last step"
    return _year_on(max(ended, looked)), why


def next_check_from(state: ItemState) -> tuple[str, ...]:
    """Ids of the records that the day of the next check is reckoned from; none where none is."""
    if not next_check_on(state)[0]:
        return ()
    ended, laters = ended_on(state), state.laters.values()
    looked = max((one.on for one in laters), default="")
    asked = state.next_checks.get("next_check")
    if asked is not None and asked.on > looked:
        return ("next_check",)
    if looked >= ended:
        return tuple(one.id for one in laters if one.on == looked)
    return tuple(
        step.id for step in state.steps.values()
        if step.state == "done" and (step.done_at or step.started_at)[:10] == ended
    )  # fmt: skip


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return bool(text)


def _year_on(day: str) -> str:
    then = date.fromisoformat(day)
    try:
        return then.replace(year=then.year + 1).isoformat()
    except ValueError:  # 29 February
        return date(then.year + 1, 3, 1).isoformat()
