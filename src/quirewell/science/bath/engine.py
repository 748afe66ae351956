"""Speciation of calcium baths: three functions on a pinned database.

The engine is IPHREEQC (``parkhurst2013``) with its own ``phreeqc.dat`` and our block A laid
over it, both read from the files beside this module and never from the installed package.
Any warning of the engine is an error here. Where the engine cannot be imported the
pure-Python solver of :mod:`quirewell.science.bath.oracle` answers instead, within 0.002 pH.
"""

from __future__ import annotations

import hashlib
import importlib
import math
import threading
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from types import ModuleType
from typing import Any

from quirewell.science.bath import oracle
from quirewell.science.bath.solution import Solution, SpeciationError, check_temperature

_FILES = ("phreeqc.dat", "block_a.dat")
_COLUMNS = {
    "pH": '-LA("H+")',
    "Ca": 'TOT("Ca")',
    "free": 'MOL("Ca+2")',
    "CaOH": 'MOL("CaOH+")',
    "OH": 'MOL("OH-")',
    "mu": "MU",
    "CO2": 'TOT("C(4)")',
    "calcite": 'EQUI("Calcite")',
}

_KNOBS = ("KNOBS", "-convergence_tolerance 1e-12")
_FIRST_WATER, _MOST_WATERS = 100, 200
_DELETE_ALL = "DELETE\n-all\nEND\n"
_DELETE_BATH = "DELETE\n-reaction 1\n-equilibrium_phases 1\nEND\n"


@cache
def _database() -> tuple[bytes, ...]:
    folder = resources.files("quirewell.science.bath") / "database"
    return tuple((folder / name).read_bytes() for name in _FILES)


@cache
def database_sha256() -> str:
    """SHA-256 (hex) of the pinned database followed by block A, as loaded."""
    return hashlib.sha256(b"".join(_database())).hexdigest()


def load_engine() -> ModuleType | None:
    """The engine's module, or None where it is not installed."""
    try:
        return importlib.import_module("phreeqc")
    except ImportError:
        return None


def saturate(temperature_c: float) -> Solution:
    """Water in equilibrium with solid calcium hydroxide, no air.

    Parameters
    ----------
    temperature_c : float
        Temperature of the bath [C], 0 to 40.

    Raises
    ------
    ValueError
        Outside the tested range.
    SpeciationError
        When the engine warns or fails.

    References
    ----------
    Constants ``nist46`` via ``minteqa2``; the scatter of published solubilities is about 6 %.
    """
    check_temperature(temperature_c)
    module = load_engine()
    if module is None:
        return oracle.saturate(temperature_c)
    return _bathed(module, temperature_c, ["EQUILIBRIUM_PHASES 1", "Portlandite 0 1"])


def speciate(
    ca_mol_per_kg: float,
    temperature_c: float,
    co2_mol_per_kg: float = 0.0,
    *,
    acid_mol_per_kg: float = 0.0,
    carbonate_settles: bool = True,
) -> Solution:
    """A closed bath holding so much Ca(OH)2 and so much CO2 taken up from the air.

    Parameters
    ----------
    ca_mol_per_kg : float
        Ca(OH)2 brought into 1 kg of water [mol/kg]; not checked against its solubility.
    temperature_c : float
        Temperature [C], 0 to 40.
    co2_mol_per_kg : float
        CO2 taken up [mol/kg].
    acid_mol_per_kg : float
        Strong acid met [mol H+/kg].
    carbonate_settles : bool
        Whether calcite may fall out (equilibrium; real baths cloud later).

    Raises
    ------
    ValueError
        Negative amounts, or a temperature outside the tested range.
    SpeciationError
        When the engine warns or fails.
    """
    check_temperature(temperature_c)
    _check_amount("Ca(OH)2", ca_mol_per_kg)
    _check_amount("CO2", co2_mol_per_kg)
    _check_amount("acid", acid_mol_per_kg)
    module = load_engine()
    if module is None:
        return oracle.speciate(
            ca_mol_per_kg, temperature_c, co2_mol_per_kg, acid_mol_per_kg=acid_mol_per_kg,
            carbonate_settles=carbonate_settles,
        )  # fmt: skip
    added = {"Ca(OH)2": ca_mol_per_kg, "CO2": co2_mol_per_kg, "HCl": acid_mol_per_kg}
    lines = _reaction(added) if any(added.values()) else []
    if carbonate_settles and co2_mol_per_kg and ca_mol_per_kg:
        lines += ["EQUILIBRIUM_PHASES 1", "Calcite 0 0"]
    return _bathed(module, temperature_c, lines)


def titrate(
    ca_mol_per_kg: float, temperature_c: float, acid_mol_per_kg: Sequence[float]
) -> tuple[Solution, ...]:
    """The same bath after each of these amounts of strong acid (HCl), each from the start.

    Parameters
    ----------
    ca_mol_per_kg : float
        Ca(OH)2 in 1 kg of water [mol/kg].
    temperature_c : float
        Temperature [C], 0 to 40.
    acid_mol_per_kg : sequence of float
        Acid added in total [mol H+/kg].

    Raises
    ------
    ValueError, SpeciationError
        As :func:`speciate`.
    """
    check_temperature(temperature_c)
    _check_amount("Ca(OH)2", ca_mol_per_kg)
    for acid in acid_mol_per_kg:
        _check_amount("acid", acid)
    module = load_engine()
    if module is None:
        return tuple(
            oracle.speciate(ca_mol_per_kg, temperature_c, acid_mol_per_kg=acid)
            for acid in acid_mol_per_kg
        )
    out = []
    for acid in acid_mol_per_kg:
        added = {"Ca(OH)2": ca_mol_per_kg, "HCl": acid}
        lines = _reaction(added) if any(added.values()) else []
        out.append(_bathed(module, temperature_c, lines))
    return tuple(out)


def _check_amount(name: str, amount: float) -> None:
    if not (math.isfinite(amount) and amount >= 0):
        raise ValueError(f"an amount of {name} must be 0 or more mol/kg, got {amount}")


def _water(temperature_c: float, number: int = 1) -> list[str]:
    return [f"SOLUTION {number}", f"temp {float(temperature_c)!r}", "pH 7 charge"]


def _reaction(added: Mapping[str, float]) -> list[str]:
    lines = [f"{name} {float(amount)!r}" for name, amount in added.items() if amount]
    return ["REACTION 1", *lines, "1.0"]


def _head(columns: Mapping[str, str]) -> list[str]:
    punch = [f"{10 * (n + 1)} PUNCH {formula}" for n, formula in enumerate(columns.values())]
    return [
        *_KNOBS, "SELECTED_OUTPUT 1", "-reset false",
        "USER_PUNCH 1", "-headings " + " ".join(columns), "-start", *punch, "-end",
    ]  # fmt: skip


_own = threading.local()


def _engine(module: ModuleType) -> Any:
    """An engine with the pinned database loaded, one to a thread: loading takes longest."""
    held = getattr(_own, "engine", None)
    if held is None or _own.module is not module:
        held = module.Phreeqc()
        held.SetErrorFileOn(False)
        held.SetErrorStringOn(True)
        base, block_a = (text.decode("latin-1") for text in _database())
        _refuse(held, held.LoadDatabaseString(base))
        _refuse(held, held.RunString(block_a))
        _own.engine, _own.module, _own.columns = held, module, ()
        _own.waters = {}
    return held


def forget() -> None:
    """Let go of this thread's engine; the next call loads its database again."""
    _own.engine = None


def _kept_water(engine: Any, temperature_c: float) -> int:
    """The number of pure water at this temperature, kept for every bath made with it."""
    if temperature_c not in _own.waters:
        if len(_own.waters) >= _MOST_WATERS:
            _refuse(engine, engine.RunString(_DELETE_ALL))
            _own.waters = {}
        number = _FIRST_WATER + len(_own.waters)
        lines = [*_KNOBS, *_water(temperature_c, number), "END", ""]
        _refuse(engine, engine.RunString("\n".join(lines)))
        _own.waters[temperature_c] = number
    return int(_own.waters[temperature_c])


def _run(
    module: ModuleType, lines: Sequence[str], columns: Mapping[str, str],
    kept_c: float | None = None,
) -> dict[str, list[float]]:  # fmt: skip
    """What the engine punches of ``lines``; they begin from kept pure water of ``kept_c`` [C]."""
    engine = _engine(module)
    wanted = tuple(columns.items())
    # What is to be told is told once, and again only when it changes: a third of the time.
    head = [] if _own.columns == wanted else _head(columns)
    try:
        if kept_c is not None:
            head = [*head, f"USE solution {_kept_water(engine, kept_c)}"]
        _refuse(engine, engine.RunString("\n".join([*head, *lines, "END", ""])))
        _own.columns = wanted
        table = engine.GetSelectedOutput()
        # Nothing of one bath may be left for the next but the water it was made with.
        _refuse(engine, engine.RunString(_DELETE_ALL if kept_c is None else _DELETE_BATH))
        if kept_c is None:
            _own.waters = {}
    except SpeciationError:
        _own.engine = None
        raise
    return {name: [float(value) for value in table[name]] for name in columns}


def punched(lines: Sequence[str], columns: Mapping[str, str]) -> tuple[dict[str, float], str]:
    """The last row of what the engine says of ``lines``, by heading, and the engine's name.

    Raises:
        SpeciationError: when it warns, fails, or is not installed.
    """
    module = load_engine()
    if module is None:
        raise SpeciationError("the speciation engine is not installed")
    table = _run(module, lines, columns)
    return {name: values[-1] for name, values in table.items()}, _name(module)


def _name(module: ModuleType) -> str:
    return f"IPHREEQC {module.Phreeqc.GetVersionString()}"


def _bathed(module: ModuleType, temperature_c: float, lines: Sequence[str]) -> Solution:
    """A bath made of pure water and ``lines``; with no lines the water itself."""
    if not lines:
        return _solve(module, temperature_c, _water(temperature_c))[-1]
    columns = _run(module, lines, _COLUMNS, float(temperature_c)).values()
    ph, ca, free, caoh, oh, mu, co2, calcite = (values[-1] for values in columns)
    return Solution(
        temperature_c, ph, ca, free, caoh, oh, mu, co2, calcite, _name(module)
    )  # fmt: skip


def _solve(module: ModuleType, temperature_c: float, lines: Sequence[str]) -> list[Solution]:
    columns = _run(module, lines, _COLUMNS).values()
    return [
        Solution(temperature_c, ph, ca, free, caoh, oh, mu, co2, calcite, _name(module))
        for ph, ca, free, caoh, oh, mu, co2, calcite in zip(*columns, strict=True)
    ]


def _refuse(engine: object, errors: int) -> None:
    warnings = engine.GetWarningString().strip()  # type: ignore[attr-defined]
    if errors or warnings:
        said = engine.GetErrorString().strip() or warnings  # type: ignore[attr-defined]
        raise SpeciationError(f"the speciation engine gave no clean answer: {said}")
