"""Which item a command means, in a studio of one item and in one of many."""

from __future__ import annotations

from pathlib import Path

from quirewell.cli.options import item_meant
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Item
from studio_help import new_studio


def test_the_only_item_is_meant_and_of_many_the_first_are_named(tmp_path: Path) -> None:
    with new_studio(tmp_path / "studio") as studio:
        assert item_meant(studio, None) == (None, "no items yet")
        for number in range(14):
            draft = Draft(f"i{number}", "item.opened", to_body(Item(f"Thistle Reader {number}")))
            studio.append(f"i{number}", 0, [draft])
            if number == 0:
                assert item_meant(studio, None) == ("i0", "i0")
        there = ", ".join(f"i{number}" for number in range(13, 1, -1)) + " and others"
        assert item_meant(studio, None) == (None, there)
        assert item_meant(studio, "thistle reader 3") == ("i3", there)
        assert item_meant(studio, "another") == (None, there)
