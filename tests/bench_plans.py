"""A small course and plans of it, for tests of the bench plan: everything by hand."""

from __future__ import annotations

COURSE = """\
key = "short-way"
name = "Washed and dried"

[[step]]
key = "apart"
kind = "staples-out"
name = "Taken apart"
on = "item"
minutes = 30

[[step]]
key = "clean"
kind = "surface-clean"
name = "Surface cleaned"
minutes = 10
can_wait = "Weeks, dry."

[[step]]
key = "fill"
kind = "wash"
name = "Laid in water"
minutes = 5
wet = true
most_wait = 0

[[step]]
key = "soak"
kind = "wash"
name = "Washed"
minutes = 30
most_minutes = 60
hands = false
wet = true
most_wait = 10

[[step]]
key = "lift"
kind = "wash"
name = "Lifted out"
minutes = 5
wet = true
most_wait = 0
equipment = ["tray"]
hold_from = "fill"
together = 2

[[step]]
key = "dry"
kind = "dry"
name = "Dried"
minutes = 600
likely_minutes = 400
hands = false
equipment = ["rack"]

[[step]]
key = "joined"
kind = "staples-in"
name = "Joined again"
on = "item"
minutes = 40
"""


def plan_text(head: str = "", item: str = "", studio: str = "", more: str = "") -> str:
    """A plan of the short way for three sheets, from a Friday evening in autumn."""
    return f"""\
[plan]
start = 2026-10-23T18:00:00
zone = "Europe/Lisbon"
{head}

[studio]
{studio}

[[item]]
name = "Copperbeck Garden Annual"
id = "annual"
recipe = "short-way"
wraps = 2
{item}

{more}

[[recipe]]
text = '''
{COURSE}'''
"""
