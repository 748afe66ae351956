"""A bench problem of the prototype: nine wraps and a cover, two trays, one person, five days.

Every length is a placeholder to plan with, no recommendation. One unit is five minutes.
"""

from __future__ import annotations

from quirewell.science.planning.bench_shop import Hold, Problem, Shop, Tray, Wait, Work

UNIT, DAY = 5, 1440
DAY_HOURS = ((540, 750), (795, 1050))  # 09:00-12:30, 13:15-17:30
CLEAN = (20, 20, 20, 15, 20, 20, 15, 20, 20, 20)
WASH = (20, 30, 45, 25, 30, 40, 20, 35, 30, 30)
MEND = (45, 35, 45, 45, 45, 40, 45, 45, 40, 45)
BATHS = ("fill", "wash", "transfer", "bath", "lift")


def hours(days: int, a_day=DAY_HOURS):
    return tuple((d * DAY + a, d * DAY + b) for d in range(days) for a, b in a_day)


def sheets(count: int = 9) -> tuple[str, ...]:
    return (*(f"w{n:02d}" for n in range(1, count + 1)), "c")


def one_item(item: str = "annual", count: int = 9):
    """Works, waits and holds of one item of ``count`` wraps and a cover."""
    works: list[Work] = []
    waits: list[Wait] = []
    holds: list[Hold] = []

    def work(sheet, step, minutes, hands=True, uses=()):
        works.append(Work(f"{item}/{sheet or '-'}/{step}", item, sheet, step, minutes, hands, uses))

    def wait(before, after, least=0, most=None, wet=False):
        waits.append(Wait(f"{item}/{before}", f"{item}/{after}", least, most, wet))

    work("", "apart", 60)
    names = sheets(count)
    for number, sheet in enumerate(names):
        kind = -1 if sheet == "c" else number % 9
        work(sheet, "clean", CLEAN[kind])
        work(sheet, "measure", 5)
        work(sheet, "fill", 5)
        work(sheet, "wash", WASH[kind], hands=False)
        work(sheet, "transfer", 5)
        work(sheet, "bath", 20, hands=False)
        work(sheet, "lift", 5)
        work(sheet, "dry", 840 if sheet == "c" else 600, hands=False, uses=("rack",))
        work(sheet, "mend", MEND[kind])
        wait("-/apart", f"{sheet}/clean")
        wait(f"{sheet}/clean", f"{sheet}/measure")
        wait(f"{sheet}/measure", f"{sheet}/fill")
        wait(f"{sheet}/fill", f"{sheet}/wash", 0, 0, True)
        wait(f"{sheet}/wash", f"{sheet}/transfer", 0, 10, True)
        wait(f"{sheet}/transfer", f"{sheet}/bath", 0, 0, True)
        wait(f"{sheet}/bath", f"{sheet}/lift", 0, 10, True)
        wait(f"{sheet}/lift", f"{sheet}/dry", 0, 0, True)
        wait(f"{sheet}/dry", f"{sheet}/mend")
    loads = [names[i : i + 4] for i in range(0, len(names), 4)]
    for number, load in enumerate(loads):
        code = f"p{number + 1}"
        work(code, "load", 10)
        work(code, "press", 30, hands=False)
        work(code, "unload", 5)
        for sheet in load:
            wait(f"{sheet}/mend", f"{code}/load")
        wait(f"{code}/load", f"{code}/press", 0, 0)
        wait(f"{code}/press", f"{code}/unload")
        holds.append(Hold("press", f"{item}/{code}/load", f"{item}/{code}/unload"))
        wait(f"{code}/unload", "-/condition")
    work("", "condition", 240, hands=False)
    for sheet in names:
        work(sheet, "again", 5)
        wait("-/condition", f"{sheet}/again")
        wait(f"{sheet}/again", "-/assemble")
    work("", "assemble", 90)
    work("", "moist", 180, hands=False, uses=("chamber",))
    work("", "fold", 20)
    work("", "press-in", 5)
    work("", "warm", 60, hands=False)
    work("", "rest", 720, hands=False)
    work("", "final", 15)
    wait("-/assemble", "-/moist")
    wait("-/moist", "-/fold", 0, 5)
    wait("-/fold", "-/press-in", 0, 5)
    wait("-/press-in", "-/warm", 0, 0)
    wait("-/warm", "-/rest", 0, 0)
    wait("-/rest", "-/final")
    holds.append(Hold("press", f"{item}/-/press-in", f"{item}/-/rest"))
    return tuple(works), tuple(waits), tuple(holds)


def pairs(item: str = "annual", count: int = 9):
    """Wraps two by two in their order, the cover alone."""
    names = sheets(count)[:-1]
    return (
        *(tuple((item, one) for one in names[i : i + 2]) for i in range(0, len(names), 2)),
        ((item, "c"),),
    )


def prototype(
    items: int = 1, *, given: bool = False, days: int = 14, count: int = 9, places=None, lag=None,
    a_day=DAY_HOURS, mix: bool = False,
) -> Problem:  # fmt: skip
    """``items`` alike items; ``lag`` [min] in place of the ten minutes after a bath."""
    names = ("annual", "second", "third", "fourth")[:items]
    works, waits, holds = [], [], []
    for name in names:
        more = one_item(name, count)
        for whole, part in zip((works, waits, holds), more, strict=True):
            whole += part
    if lag is not None:
        waits = [Wait(w.before, w.after, w.least, lag, w.wet) if w.most == 10 else w for w in waits]
    shop = Shop({"tray": 2, "rack": 8, "press": 1, "chamber": 1, **(places or {})},
                hours(days, a_day))  # fmt: skip
    settled = tuple(one for name in names for one in pairs(name, count)) if given else None
    trays = (Tray(BATHS, "tray", 2, ("c",), mix),)
    return Problem(tuple(works), tuple(waits), shop, tuple(holds), trays, settled)
