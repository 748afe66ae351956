"""The Annual's black pages: articles, picture pages, seed lists and advertisements."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quirewell.demo import words
from quirewell.demo.pictures import picture
from quirewell.demo.press import Page

KINDS = ("article", "picture", "list", "article", "advertisements", "picture")


def page_plate(
    number: int, seed: int, width_mm: float, height_mm: float, px_per_mm: float
) -> NDArray[np.uint8]:
    """Coverage of page ``number`` (odd pages lie on the right); the same seed, the same page."""
    rng = np.random.default_rng([seed, number, 5])
    page = Page(width_mm, height_mm, px_per_mm)
    fore, fold = 11.0, 14.0
    left = fold if number % 2 else fore
    area = (left, 14.0, width_mm - fore - fold, height_mm - 32.0)
    _running_head(page, number, area)
    kind = KINDS[number % len(KINDS)]
    if kind == "article":
        _article(page, rng, area, number)
    elif kind == "picture":
        _picture_page(page, rng, area, number)
    elif kind == "list":
        _seed_list(page, rng, area)
    else:
        _advertisements(page, rng, area, number)
    return page.plate()


Area = tuple[float, float, float, float]


def _running_head(page: Page, number: int, area: Area) -> None:
    x, y, w, h = area
    page.text("The Copperbeck Garden Annual", x + w / 2, y - 6.0, 2.7, anchor="ma")
    page.rule(x, y - 2.0, x + w, y - 2.0, weight_mm=0.2)
    outer = x + w if number % 2 else x
    page.text(str(number), outer, y + h + 3.5, 4.2, anchor="ra" if number % 2 else "la")
    page.text("1936", x + w / 2, y + h + 4.0, 2.7, anchor="ma")


def _flow(page: Page, rng: np.random.Generator, area: Area, columns: int) -> None:
    """Fill an area with columns of text parted by hair rules."""
    x, y, w, h = area
    gutter = 4.5
    width = (w - gutter * (columns - 1)) / columns
    for column in range(columns):
        left = x + column * (width + gutter)
        at = y
        while at < y + h - 4.0:
            after = page.column(words.paragraph(rng), left, at, width, y + h)
            if after == at:
                break
            at = after
        if column:
            page.rule(left - gutter / 2, y, left - gutter / 2, y + h, weight_mm=0.12)


def _article(page: Page, rng: np.random.Generator, area: Area, number: int) -> None:
    x, y, w, h = area
    took = page.headline(words.HEADLINES[number % len(words.HEADLINES)], x, y + 1, w, 8.5)
    page.headline("from our own plot", x, y + took + 4.0, w, 3.6, slanted=True)
    page.rule(x, y + took + 10.5, x + w, y + took + 10.5, weight_mm=0.5)
    top = y + took + 13.0
    split = top + 0.55 * (y + h - top)
    columns = 2 + number % 2
    _flow(page, rng, (x, top, w, split - top - 3.0), columns)
    width = 0.46 * w
    _halftone(page, rng, number, x, split, width, y + h - split - 6.0)
    page.text(words.headline(rng), x, y + h - 4.5, 2.6)
    _flow(page, rng, (x + width + 4.5, split, w - width - 4.5, y + h - split), columns - 1)


def _picture_page(page: Page, rng: np.random.Generator, area: Area, number: int) -> None:
    x, y, w, h = area
    tall = 0.46 * h
    _halftone(page, rng, number + 1, x, y, w, tall)
    took = page.headline(words.HEADLINES[number % len(words.HEADLINES)], x, y + tall + 5, w, 7.0)
    top = y + tall + took + 9.0
    _flow(page, rng, (x, top, w, y + h - top), 3)


def _halftone(
    page: Page, rng: np.random.Generator, index: int, x: float, y: float, w: float, h: float
) -> None:
    size = round(h * page.px_per_mm), round(w * page.px_per_mm)
    page.picture(picture(index, rng, *size), x, y)
    page.frame(x, y, w, h, 0.2)


def _seed_list(page: Page, rng: np.random.Generator, area: Area) -> None:
    x, y, w, h = area
    page.headline("SEEDS WORTH A STAMP", x, y + 1, w, 8.0, centred=True)
    page.rule(x, y + 12.0, x + w, y + 12.0, weight_mm=0.9)
    width = (w - 8.0) / 2
    for column in range(2):
        left = x + column * (width + 8.0)
        for row in range(int((h - 82.0) / 4.6)):
            at = y + 15.0 + 4.6 * row
            name, price = words.seed_line(rng)
            page.text(name, left, at, 3.1)
            page.text(price, left + width, at, 3.1, anchor="ra")
            page.rule(left, at + 4.0, left + width, at + 4.0, weight_mm=0.1)
    _flow(page, rng, (x, y + h - 62.0, w, 62.0), 3)


def _advertisements(page: Page, rng: np.random.Generator, area: Area, number: int) -> None:
    x, y, w, h = area
    tall, wide = (h - 8.0) / 3, (w - 4.0) / 2
    boxes = [
        (x, y, w, tall),
        (x, y + tall + 4, wide, tall),
        (x + wide + 4, y + tall + 4, wide, tall),
        (x, y + 2 * tall + 8, wide, tall),
        (x + wide + 4, y + 2 * tall + 8, wide, tall),
    ]
    for index, box in enumerate(boxes):
        _advertisement(page, rng, box, words.FIRMS[(number + index) % len(words.FIRMS)], index)


def _advertisement(
    page: Page, rng: np.random.Generator, box: Area, firm: tuple[str, str, str], index: int
) -> None:
    x, y, w, h = box
    page.frame(x, y, w, h, 0.7 if index % 2 else 0.35)
    if index % 2:
        page.frame(x + 1.4, y + 1.4, w - 2.8, h - 2.8, 0.15)
    name, line, place = firm
    took = page.headline(name, x + 5, y + 6, w - 10, 8.0, centred=True)
    page.headline(line, x + 5, y + took + 10, w - 10, 4.2, slanted=True, centred=True)
    if index in (0, 3, 4):
        tall = h - took - 30.0
        wide = min(w - 12.0, tall * 1.6)
        _halftone(page, rng, index + 2, x + (w - wide) / 2, y + took + 18.0, wide, tall)
    else:
        _flow(page, rng, (x + 6, y + took + 18, w - 12, h - took - 30), 1)
    page.text(place, x + w / 2, y + h - 8.0, 3.2, anchor="ma")
