"""A tone card measured once: from readings typed or by an instrument, or from a scan of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from quirewell.science.colour.cgats import BadColourFile, read_cgats
from quirewell.science.colour.spaces import lab_from_linear, light_of
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.colour.tone_card import Step, card_text, read_card
from quirewell.stages.characterising import BadTarget, numbers_of, read_text
from quirewell.stages.instrument import table_lab
from quirewell.studio.images import load_picture


def card_from_text(path: Path) -> tuple[Step, ...]:
    """Steps from a file: CGATS text, or lines of a name and L* a* b*.

    Raises
    ------
    BadColourFile, ValueError
        in a sentence, when it holds no card
    """
    text = read_text(path)
    if "BEGIN_DATA" not in text.upper():
        return read_card(text)
    steps = [
        (name, lab)
        for table in read_cgats(text)
        for name, lab in zip(table.names, table_lab(table), strict=True)
    ]
    return _checked(steps)


def card_from_scan(path: Path, places: str, target: TargetUse | None = None) -> tuple[Step, ...]:
    """Steps from a scan of the card: the middle tone at each of "x,y,width,height;..." [px].

    Raises
    ------
    BadTarget
        when a place is none, or lies outside the picture; a sentence
    """
    boxes = numbers_of(places, "places", 4)
    if boxes is None:
        raise BadTarget("say where each paper of the card lies in the scan: x,y,width,height;...")
    picture = load_picture(path)
    if picture.grey:
        raise BadTarget("the scan of the card is grey: a tone card needs a colour scan")
    height, width = picture.pixels.shape[:2]
    steps = []
    for number, box in enumerate(boxes.reshape(-1, 4), 1):
        x, y, wide, high = (round(float(value)) for value in box)
        if min(x, y) < 0 or min(wide, high) < 5 or x + wide > width or y + high > height:
            raise BadTarget(
                f"paper {number} of the card at {x},{y} is {wide} x {high} pixels: it must be at "
                f"least 5 x 5 and inside the picture of {width} x {height}"
            )
        part = light_of(picture.pixels[y : y + high, x : x + wide]).reshape(-1, 3)
        light = np.median(part, axis=0).astype(np.float64)
        lab = target.predict(light) if target is not None else lab_from_linear(light)
        steps.append((str(number), lab))
    return _checked(steps)


def _checked(steps: list[tuple[str, np.ndarray]]) -> tuple[Step, ...]:
    made = tuple(
        Step(name.replace(";", " ")[:40] or "?", (float(lab[0]), float(lab[1]), float(lab[2])))
        for name, lab in steps
    )
    return read_card(card_text(made))


__all__ = ["BadColourFile", "card_from_scan", "card_from_text"]
