"""Items for a third-party grading service: what one way of sending one item is expected to gain.

Money is in whole cents; chances, rates and factors are exact fractions. An expected gain is worked
out exactly and rounded to the cent once (halves to the even cent), so that every sum after that is
a sum of whole numbers. Of one item sent one way in a tier with a parcel:

gain = factor * E[value] - value now - work - fee - E[correction of the fee] - carriage
       - insurance rate * declared - waiting * weeks until it is back

The correction of the fee: where the value at the returned grade passes the tier's ceiling, the
service may charge the tier that admits that value. Common practice in general terms, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm

# Chance and value [cents] at each returned grade.
Points = tuple[tuple[Fraction, Fraction], ...]


@dataclass(frozen=True, slots=True)
class Tier:
    """A way the service is paid: fee [cents], most that may be declared (None: no limit), how many
    items of one parcel it takes at least and at most, years of issue it admits, weeks it takes."""

    name: str
    fee: int
    ceiling: int | None = None
    minimum: int = 1
    maximum: int | None = None
    from_year: int | None = None
    to_year: int | None = None
    weeks: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Parcel:
    """A shipment: weeks from now, its fixed cost and carriage of an item [cents], insurance as a
    share of what is declared, most that may be insured in it [cents] (None: no limit)."""

    name: str
    week: Fraction = Fraction(0)
    fixed: int = 0
    per_item: int = 0
    insurance: Fraction = Fraction(0)
    cap: int | None = None


@dataclass(frozen=True, slots=True)
class Way:
    """What is done to an item before it goes: cost [cents], minutes of the bench, chances and
    values by returned grade, factor on the value for disclosed treatment, declared value [cents]
    (None: the median of the values)."""

    name: str
    points: Points
    cost: int = 0
    minutes: int = 0
    factor: Fraction = Fraction(1)
    declare: int | None = None

    @property
    def mean(self) -> Fraction:
        """Expected value when back, the factor in it [cents]."""
        return self.factor * sum((p * value for p, value in self.points), Fraction(0))

    @property
    def declared(self) -> int:
        """The value declared [cents]: as given, or the median over the returned grades."""
        return self.declare if self.declare is not None else round(median(self.points))


@dataclass(frozen=True, slots=True)
class Item:
    """An item: worth now [cents], ways of sending it, year of issue, week from which it can go,
    own cost of a week's waiting [cents]."""

    name: str
    now: int
    ways: tuple[Way, ...]
    year: int | None = None
    ready: Fraction = Fraction(0)
    wait_per_week: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything a plan is made from. ``minutes`` of the bench and ``spend`` [cents] limit it where
    given; ``wait_rate`` is the share of the expected value that a week's waiting costs."""

    items: tuple[Item, ...]
    tiers: tuple[Tier, ...]
    parcels: tuple[Parcel, ...]
    minutes: int | None = None
    spend: int | None = None
    wait_rate: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Wish:
    """What-if: items that must go, items that must not, tiers switched off, and for an item the
    only parcels it may go with."""

    inside: frozenset[str] = frozenset()
    outside: frozenset[str] = frozenset()
    closed: frozenset[str] = frozenset()
    only: Mapping[str, frozenset[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Option:
    """One item sent one way in one tier with one parcel; gain and outlay in whole cents."""

    item: str
    way: str
    tier: str
    parcel: str
    gain: int
    declared: int
    minutes: int
    outlay: int

    @property
    def key(self) -> tuple[str, str, str]:
        """Way, tier and parcel: what names the option among the item's own."""
        return self.way, self.tier, self.parcel


def median(points: Points) -> Fraction:
    """The least value reached with a chance of a half or more.

    >>> half = Fraction(1, 2)
    >>> median(((half, Fraction(80)), (half, Fraction(140))))
    Fraction(80, 1)
    """
    seen = Fraction(0)
    for p, value in sorted(points, key=lambda point: point[1]):
        seen += p
        if 2 * seen >= 1:
            return value
    return max(value for _, value in points)


def fits_year(item: Item, tier: Tier) -> bool:
    """Whether the tier's rule of age admits the item; an item of no known year only where there is
    no rule."""
    if tier.from_year is None and tier.to_year is None:
        return True
    if item.year is None:
        return False
    low = tier.from_year is None or item.year >= tier.from_year
    return low and (tier.to_year is None or item.year <= tier.to_year)


def fee_at(value: Fraction, item: Item, tier: Tier, tiers: tuple[Tier, ...]) -> int:
    """The fee [cents] when the item comes back worth ``value`` [cents]: the tier's own, or that of
    the cheapest tier whose ceiling admits it; where none does, the dearest there is."""
    if tier.ceiling is None or value <= tier.ceiling:
        return tier.fee
    able = [other for other in tiers if fits_year(item, other)]
    admit = [other.fee for other in able if other.ceiling is None or value <= other.ceiling]
    return max(tier.fee, min(admit) if admit else max(other.fee for other in able))


def correction(item: Item, way: Way, tier: Tier, tiers: tuple[Tier, ...]) -> Fraction:
    """Expected correction of the fee [cents]."""
    out = Fraction(0)
    for p, value in way.points:
        more = fee_at(value, item, tier, tiers) - tier.fee
        if more:
            out += p * more
    return out


def waiting(problem: Problem, item: Item, way: Way, tier: Tier, parcel: Parcel) -> Fraction:
    """What waiting until the item is back costs [cents]."""
    return (parcel.week + tier.weeks) * (item.wait_per_week + problem.wait_rate * way.mean)


def exact_gain(problem: Problem, item: Item, way: Way, tier: Tier, parcel: Parcel) -> Fraction:
    """Expected gain over leaving the item as it is [cents], not rounded."""
    return (
        way.mean
        - item.now
        - way.cost
        - tier.fee
        - correction(item, way, tier, problem.tiers)
        - parcel.per_item
        - parcel.insurance * way.declared
        - waiting(problem, item, way, tier, parcel)
    )


def outcomes(problem: Problem, item: Item, way: Way, tier: Tier, parcel: Parcel) -> Points:
    """Chance and gain [cents] at each returned grade; their mean is :func:`exact_gain`."""
    fixed = (
        item.now + way.cost + parcel.per_item + parcel.insurance * way.declared
        + waiting(problem, item, way, tier, parcel)
    )  # fmt: skip
    return tuple(
        (p, way.factor * value - fee_at(value, item, tier, problem.tiers) - fixed)
        for p, value in way.points
    )


def why_not(item: Item, declared: int, tier: Tier, parcel: Parcel) -> str:
    """Why a tier or parcel cannot take the item so declared [cents]; empty where it can."""
    if not fits_year(item, tier):
        return "year" if item.year is not None else "no year"
    if tier.ceiling is not None and declared > tier.ceiling:
        return "ceiling"
    if parcel.week < item.ready:
        return "ready"
    if parcel.cap is not None and declared > parcel.cap:
        return "cap"
    if tier.maximum is not None and tier.minimum > tier.maximum:
        return "minimum above maximum"
    return ""


def options_of(problem: Problem, item: Item) -> list[Option]:
    """Every way the item can go, losing ones too (a loser can fill a tier's minimum count).

    Each way's terms are brought to one denominator first: whole numbers add faster."""
    out = []
    for way in item.ways:
        mean, declared = way.mean, way.declared
        rate = item.wait_per_week + problem.wait_rate * mean
        tiers = [
            (tier, mean - item.now - way.cost - tier.fee - rate * tier.weeks
             - correction(item, way, tier, problem.tiers))
            for tier in problem.tiers
            if fits_year(item, tier) and (tier.ceiling is None or declared <= tier.ceiling)
        ]  # fmt: skip
        parcels = [
            (parcel, parcel.per_item + parcel.insurance * declared + rate * parcel.week)
            for parcel in problem.parcels
        ]
        common = lcm(*(f.denominator for _, f in tiers), *(f.denominator for _, f in parcels))
        dearer = [(p, _whole(cost, common), round(p.insurance * declared)) for p, cost in parcels]
        for tier, worth in tiers:
            before = _whole(worth, common)
            paid = way.cost + tier.fee
            for parcel, cost, insured in dearer:
                if not why_not(item, declared, tier, parcel):
                    out.append(Option(
                        item.name, way.name, tier.name, parcel.name,
                        _to_even(before - cost, common), declared, way.minutes,
                        paid + parcel.per_item + insured,
                    ))  # fmt: skip
    return out


def _whole(value: Fraction, common: int) -> int:
    return value.numerator * (common // value.denominator)


def _to_even(numerator: int, denominator: int) -> int:
    """A ratio rounded to the nearest whole number, halves to the even one."""
    whole, rest = divmod(numerator, denominator)
    return whole + (2 * rest > denominator or (2 * rest == denominator and whole % 2 == 1))


def broken(problem: Problem, chosen: Mapping[str, Option], wish: Wish | None = None) -> list[str]:
    """Rules that a plan breaks, in sentences; worked out from the rules and not from a solver."""
    asked = wish or Wish()
    says = []
    tiers = {tier.name: tier for tier in problem.tiers}
    counts: dict[tuple[str, str], int] = {}
    insured: dict[str, int] = {}
    for option in chosen.values():
        place = option.tier, option.parcel
        counts[place] = counts.get(place, 0) + 1
        insured[option.parcel] = insured.get(option.parcel, 0) + option.declared
    for (name, parcel), count in counts.items():
        tier = tiers[name]
        if count < tier.minimum:
            says.append(f"{name} in {parcel} holds {count} and takes {tier.minimum} or more")
        if tier.maximum is not None and count > tier.maximum:
            says.append(f"{name} in {parcel} holds {count} and takes {tier.maximum} at most")
        if name in asked.closed:
            says.append(f"{name} is switched off")
    for one in problem.parcels:
        if one.cap is not None and insured.get(one.name, 0) > one.cap:
            says.append(f"{one.name} is insured beyond its cap")
    used = sum(option.minutes for option in chosen.values())
    if problem.minutes is not None and used > problem.minutes:
        says.append(f"the bench works {used} minutes of {problem.minutes}")
    if problem.spend is not None and outlay(problem, chosen) > problem.spend:
        says.append("more is laid out than may be spent")
    says += [f"{name} must go and does not" for name in asked.inside - set(chosen)]
    says += [f"{name} must stay and goes" for name in asked.outside & set(chosen)]
    says += [
        f"{name} goes with a parcel it may not go with"
        for name, only in asked.only.items()
        if name in chosen and chosen[name].parcel not in only
    ]
    return sorted(says)


def _fixed(problem: Problem, chosen: Mapping[str, Option]) -> int:
    used = {option.parcel for option in chosen.values()}
    return sum(parcel.fixed for parcel in problem.parcels if parcel.name in used)


def total(problem: Problem, chosen: Mapping[str, Option]) -> int:
    """What a plan gains [cents]: its items' gains less the fixed cost of the parcels used."""
    return sum(option.gain for option in chosen.values()) - _fixed(problem, chosen)


def outlay(problem: Problem, chosen: Mapping[str, Option]) -> int:
    """What is laid out before anything comes back [cents]."""
    return sum(option.outlay for option in chosen.values()) + _fixed(problem, chosen)
