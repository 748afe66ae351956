"""Which backups stay: the newest of each of the last days, weeks and months that have one.

What has no backup takes no room in the count, so neither a holiday nor a clock that once ran wrong
makes good backups go. The newest always stays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from quirewell.studio.keep_place import (
    Place,
    Pooled,
    Snapshot,
    clear,
    part_of,
    settle,
    write_pool_list,
)
from quirewell.studio.own_settings import Rotation

Bucket = Callable[[datetime], tuple[int, ...]]


def to_keep(made: Iterable[tuple[str, str]], rotation: Rotation, zone: str) -> set[str]:
    """Names that stay, of (name, instant in ISO 8601); days, weeks and months are the zone's.

    >>> made = [(day, f"2031-04-{day}T18:00:00.000Z") for day in ("01", "02", "03", "04")]
    >>> sorted(to_keep(made, Rotation(2, 0, 0), "Europe/London"))
    ['03', '04']
    """
    newest_first = sorted(made, key=lambda one: (one[1], one[0]), reverse=True)
    kept = {newest_first[0][0]} if newest_first else set[str]()
    for count, bucket in (
        (rotation.daily, _day), (rotation.weekly, _week), (rotation.monthly, _month),
    ):  # fmt: skip
        kept |= _newest_of_each(newest_first, count, bucket, ZoneInfo(zone))
    return kept


def _newest_of_each(
    newest_first: list[tuple[str, str]], count: int, bucket: Bucket, zone: ZoneInfo
) -> set[str]:
    found: dict[tuple[int, ...], str] = {}
    for name, at in newest_first:
        found.setdefault(bucket(datetime.fromisoformat(at).astimezone(zone)), name)
    return {found[key] for key in sorted(found, reverse=True)[:count]}


def _day(moment: datetime) -> tuple[int, ...]:
    return (moment.year, moment.month, moment.day)


def _week(moment: datetime) -> tuple[int, ...]:
    year, week, _ = moment.isocalendar()
    return (year, week)


def _month(moment: datetime) -> tuple[int, ...]:
    return (moment.year, moment.month)


def rotate(
    place: Place, found: list[Snapshot], rotation: Rotation, zone: str, newest: str
) -> list[Snapshot]:
    """Delete the backups that the rule does not keep; those deleted. ``newest`` (just checked)
    stays whatever the clock says."""
    stay = to_keep(((one.name, one.manifest.made_at) for one in found), rotation, zone) | {newest}
    gone = [one for one in found if one.name not in stay]
    for one in gone:
        # It stops counting at once; a kill after this leaves a name that is cleared next time.
        hidden = part_of(place.backups / one.name)
        (place.backups / one.name).rename(hidden)
        settle(place.backups)
        clear([hidden])
    return gone


def clear_pool(place: Place, pool: dict[str, Pooled], left: list[Snapshot]) -> tuple[int, int]:
    """Delete originals that we put in and no backup names any more: (files, bytes)."""
    named = {name for one in left for name in one.originals}
    loose = {name: one for name, one in pool.items() if name not in named}
    for name in loose:
        place.pooled(name).unlink(missing_ok=True)
        del pool[name]
    if loose:
        write_pool_list(place, pool)
    return len(loose), sum(one.bytes for one in loose.values())
