"""``quirewell grade``: an estimate on the ten-point scale from a list of damage."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from quirewell.cli.creep import read_text
from quirewell.cli.options import JSON, ask, sentence
from quirewell.cli.output import fail, paragraphs, print_json
from quirewell.stages import grading
from quirewell.stages.rule_table import write_rules

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_OUT = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.argument("defects", type=_FILE, required=False)
@click.option("--rules", type=_FILE, help="Your own rows of rules, laid over the built-in ones.")
@click.option("--scale", type=_FILE, help="Your own scale: value, words.")
@click.option("--returns", type=_FILE, help="Grades that came back: item, returned, damage.")
@click.option("--by-root", is_flag=True, help="Add kinds of damage by the root of their squares.")
@click.option("--rules-out", type=_OUT, help="Write the table of rules in force as CSV.")
@JSON
def grade(
    defects: Path | None, rules: Path | None, scale: Path | None, returns: Path | None,
    by_root: bool, rules_out: Path | None, wants_json: bool,
) -> None:  # fmt: skip
    """Estimate a grade from a list of damage, with its band, what binds it and what mending gains.

    DEFECTS is a table (CSV), a row to each damage: code (of the rules, or the record's word, such
    as tear), location (cover, interior, spine, or w03.outer.left), extent, u, unit, note. By eye
    will do: "about 30 mm" is then less sure. A row "none" says that nothing was found.

    \b
    Examples:
      quirewell grade examples/condition/defects.csv
      quirewell grade defects.csv --rules own-rules.csv --returns returns.csv --json
      quirewell grade --rules-out rules.csv
    """
    if defects is None and rules_out is None:
        fail("Give DEFECTS, a table of damage; or --rules-out FILE for the rules.", wants_json)
    if rules_out is not None and rules_out.exists():
        fail(f"{rules_out.name} is there already; name another file.", wants_json)
    given = (("defects", defects), ("rules", rules), ("scale", scale), ("returns", returns))
    texts = {name: read_text(path, wants_json) for name, path in given if path is not None}
    for name, path in given:
        if path is not None and not texts[name].strip():
            fail(f"{path.name} is empty; it is the table of {name}.", wants_json)
    if defects is None:
        out, table = _rules_only(texts, wants_json)
    else:
        adding = {"adding": "root"} if by_root else {}
        run = ask(grading.METHOD, "item", texts | adding, wants_json)
        out, table = grading.as_json(run), run.drawing["rules"]
    if rules_out is not None:
        _write(rules_out, _dated(table, returns), wants_json)
        out["rules_out"] = str(rules_out)
    if wants_json:
        print_json(out)
        return
    if defects is not None:
        click.echo("\n".join(_card(out)))
    if rules_out is not None:
        click.echo(f"The rules in force are in {rules_out}.")


def _rules_only(texts: dict[str, str], wants_json: bool) -> tuple[dict[str, Any], str]:
    if "returns" in texts:
        fail("Returns need DEFECTS beside them.", wants_json)
    try:
        rules, _ = grading.in_force(texts.get("rules", ""), texts.get("scale", ""))
    except ValueError as error:
        fail(sentence(error), wants_json)
    return {"rules": {"version": rules.version}}, write_rules(rules)


def _dated(table: str, returns: Path | None) -> str:
    """The table with the day it was written and the returns it learnt from, as remarks."""
    by = f"; weights by {returns.name}" if returns and "returns" in table.split("\n")[0] else ""
    version, _, rows = table.partition("\n")
    return f"{version}\n# written {date.today().isoformat()}{by}\n{rows}"


def _write(path: Path, text: str, wants_json: bool) -> None:
    from quirewell.studio.durable import write_whole

    try:
        write_whole(path, text.encode(), new=True)
    except OSError as error:
        fail(f"{path} cannot be written ({error.strerror}).", wants_json)


def _card(out: dict[str, Any]) -> list[str]:
    """The estimate as a card to read."""
    raw, step = out["raw"], out["grade"]
    low, high = out["interval"]["steps"]
    lines = [
        "CONDITION, an estimate",
        f"  On the scale      {step['value']:.1f}  {step['words']}",
        f"  90 % band         {low:.1f} to {high:.1f}  ({out['interval']['words']})",
        f"  Before the scale  {raw['value']:.2f} of 10 points ({raw['low90']:.2f} to "
        f"{raw['high90']:.2f})",
    ]
    ceiling = out["binding"]
    if ceiling is not None:
        lines.append(f"  What binds it     a ceiling: {ceiling['says']}")
    elif out["deductions"]:
        lines.append("  What binds it     no ceiling; what is taken off, added up")
    lines += paragraphs("First", [one["says"] for one in out["flags"]])
    lines += paragraphs("Taken off, the most first", [
        f"{one['says']} ({one['points']['low90']:.2f} to {one['points']['high90']:.2f})"
        for one in out["deductions"]
    ])  # fmt: skip
    lines += paragraphs("Ceilings", [one["says"] for one in out["limits"]])
    lines += paragraphs("Not rated", [one["says"] for one in out["not_rated"]])
    lines += paragraphs("Treatment done, told and not deducted",
                        [one["says"] for one in out["treatments"]])  # fmt: skip
    lines += paragraphs(
        "What mending could gain at most", [_mended(one, ceiling) for one in out["if_mended"]]
    )
    lines += paragraphs("What stays", [
        f"{one['code'].replace('_', ' ')}: {one['says']}" for one in out["stays"]
    ])  # fmt: skip
    if "returns" in out:
        lines += paragraphs("Grades that came back", _returns(out["returns"]))
    lines += paragraphs("To narrow it", [out["narrows"]])
    lines += paragraphs("What to know", out["warnings"])
    return [*lines, "", f"Rules: {out['rules']['version']}, sha256 {out['rules']['sha256'][:16]}"]


def _mended(one: dict[str, Any], ceiling: dict[str, Any] | None) -> str:
    gain, grade = one["gain"], one["grade"]
    codes = ", ".join(code.replace("_", " ") for code in one["codes"])
    said = (
        f"{one['name']} ({codes}). Risk: {one['risk']} {one['permanence'].capitalize()}. "
        f"{one['leaves']} "
    )
    if ceiling is not None and gain["high90"] < 0.005:
        return f"{said}It gains nothing while a ceiling holds ({ceiling['says']})."
    return (
        f"{said}At most {gain['value']:.2f} points ({gain['low90']:.2f} to {gain['high90']:.2f}), "
        f"to {grade['value']:.1f} {grade['words']}."
    )


def _returns(one: dict[str, Any]) -> list[str]:
    out = [one["says"]]
    bias = one["bias"]
    about = "" if bias["u"] is None else f" ± {1.96 * bias['u']:.2f}"
    out.append(f"Returned minus estimated: {bias['value']:+.2f}{about} points.")
    if "agreement" in one:
        out.append(f"Agreement (ordinal alpha): {one['agreement']['value']:.2f}; 1 is full.")
    if "hits" in one:
        out.append(f"{one['hits']['says']}.")
    if one["returned"]:
        likely = sorted(one["returned"], key=lambda step: -step["chance"])[:3]
        said = ", ".join(f"{step['grade']:g} ({100 * step['chance']:.0f} %)" for step in likely)
        out.append(f"Most likely to come back: {said}.")
    return out
