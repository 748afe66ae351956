"""The invented words of the Copperbeck Garden Annual: text, headlines, firms."""

from __future__ import annotations

import numpy as np

TITLE = "COPPERBECK GARDEN ANNUAL"


def _list(words: str) -> list[str]:
    return words.split()


_NOUNS = _list(
    """bed border barrow beet bean bulb bark bloom bough cloche crop cutting compost clay
cordon crown dibber dew drill fence fern fork frame frost furrow gate gravel glasshouse hedge hoe
hose kale lattice leek lawn leaf loam marrow mulch nettle onion orchard path pea pear
pea-stick petal
plum potting-shed rake riddle root rose row sage seed seedling shade shallot shoot sieve soil
soot spade spray stake stem stone straw sweet-pea thorn thyme tilth trellis trench trowel tuber
turf twig vine wall water-butt weed willow worm"""
)
_VERBS = _list(
    """dig sow prune water thin stake mulch lift divide graft rake hoe roll feed train cover
air harden plant trim gather store dry tie sift turn drain shade pot weed"""
)
_SMALL = _list(
    """the a and of in to with for on by from at under over after before when until while
where as if not but so then this each every some few more much"""
)
_ADJECTIVES = _list(
    """early late tender hardy dry damp cold warm sheltered sunny heavy light sandy rich
sour sweet young old stout slender green pale deep shallow even fine coarse steady patient small
broad common double single climbing dwarf winter summer spring autumn"""
)

HEADLINES = (
    "The First Warm Week",
    "Leeks for the Long Winter",
    "A Wall for Pears",
    "What the Frost Left",
    "Sweet Peas in a Narrow Bed",
    "The Patient Lawn",
    "Digging Twice",
    "Water Before Noon",
    "A Glasshouse Under Forty Shillings",
    "Marrows by the Gate",
    "Notes on Soot and Straw",
    "The Hedge That Came Back",
    "Roots Worth Keeping",
    "Old Roses, New Canes",
    "Bees at Larkmoor",
    "Bulbs for the Back Step",
    "Cuttings in a Jar",
    "When to Leave Well Alone",
    "The Kitchen Plot in May",
    "Paths That Stay Dry",
    "A Trellis From Willow",
    "Thinning the Plums",
    "Letters From Our Readers",
    "The Month at a Glance",
)
FIRMS = (
    ("HOLLIN & THRAVE", "Spades that hold their edge", "Wharf Row, Copperbeck"),
    ("DUNNOCK SEED HOUSE", "Tested peas and beans, post free", "Mill Lane, Larkmoor"),
    ("A. PELLOW, GLAZIER", "Frames and lights cut to measure", "Tarn Street, Copperbeck"),
    ("THE WITHY WORKS", "Baskets - barrows - pea-sticks", "Otterbridge"),
    ("MOSSOP'S SOOT", "Sieved twice and sold by the sack", "Canal Yard, Larkmoor"),
    ("FENWREN NURSERIES", "Two hundred roses on their own roots", "Low Road, Fenwren"),
    ("BRACK & SON", "Water-butts, pumps and hose", "Station Parade, Copperbeck"),
    ("LADY ASTERBY'S BULBS", "A shilling the dozen while they last", "Asterby Grange"),
)


def sentence(rng: np.random.Generator) -> list[str]:
    """One sentence of garden talk, as words."""
    words: list[str] = []
    for _ in range(int(rng.integers(2, 5))):
        words += [
            str(rng.choice(_SMALL)),
            str(rng.choice(_ADJECTIVES)),
            str(rng.choice(_NOUNS)),
            str(rng.choice(_SMALL)),
            str(rng.choice(_VERBS)),
            "the",
            str(rng.choice(_NOUNS)),
        ]
        if rng.random() < 0.35:
            words[-1] += ","
    words[0] = words[0].capitalize()
    words[-1] = words[-1].rstrip(",") + "."
    return words


def paragraph(rng: np.random.Generator, words: int = 70) -> list[str]:
    """A paragraph of at least so many words."""
    out: list[str] = []
    while len(out) < words:
        out += sentence(rng)
    return out


def headline(rng: np.random.Generator) -> str:
    """A headline of the Annual."""
    return HEADLINES[int(rng.integers(len(HEADLINES)))]


def seed_line(rng: np.random.Generator) -> tuple[str, str]:
    """A line of a seed list: name and price."""
    name = f"{rng.choice(_ADJECTIVES)} {rng.choice(_NOUNS)}".capitalize()
    return name, f"{int(rng.integers(1, 12))}d."
