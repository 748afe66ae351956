"""The bath ledger of 100 wraps in an open tray, beside plain uses of the same engine.

Peers in the same run: the same ledger speciated by the engine at every wrap, thrice (in the bath,
as it is lifted out, after the air), each from new water; and the same with the database loaded for
each, as a program would that keeps no engine. The last figure says how far the curve that random
baths are read off strays from the exact ledger until its alkali is gone (21.5 mmol/kg at first).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

ROWS, RELOADS = 100, 20


def _best(call: Callable[[], Any], times: int = 3) -> float:
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spent.append(time.perf_counter() - start)
    return min(spent)


def bench() -> dict[str, Any]:
    """Seconds of a ledger with and without bands and readings, and against the peers."""
    import numpy as np

    from quirewell.science.bath import engine
    from quirewell.science.bath.ledger import Entry, Paper, Tray, run
    from quirewell.science.bath.ledger_band import (
        change_after,
        spread_of,
        with_bands,
        worked_through,
    )
    from quirewell.science.bath.ledger_fit import TrayReading, fit

    tray, paper = Tray(), Paper()
    entries = [Entry("wrap", 4.7, 1.8, 15.0, True)] * ROWS
    spread = spread_of(0.155, tray.strength)
    ledger = run(tray, paper, entries)

    def whole() -> None:
        found = run(tray, paper, entries)
        with_bands(found, tray, paper, entries, spread)
        change_after(tray, paper, entries, spread)

    columns = {"pH": '-LA("H+")', "Ca": 'TOT("Ca")', "calcite": 'EQUI("Calcite")'}

    def plain() -> None:
        for row in ledger.rows:
            for _ in range(3):
                lines = ["SOLUTION 1", "temp 20", "pH 7 charge", "REACTION 1"]
                lines += [f"Ca(OH)2 {row.ca_mol_per_kg!r}", "CO2 1e-5", "HCl 1e-4", "1.0"]
                engine.punched([*lines, "EQUILIBRIUM_PHASES 1", "Calcite 0 0"], columns)

    def reloaded() -> None:
        for row in ledger.rows[:RELOADS]:
            engine.forget()
            engine.speciate(row.ca_mol_per_kg, 20.0, 1e-5, acid_mol_per_kg=1e-4)

    read = [
        TrayReading(0, "alkalinity", 0.0215, 4e-4),
        TrayReading(8, "alkalinity", 0.0160, 4e-4),
        TrayReading(1, "pickup", 2.0, 0.15),
        TrayReading(8, "pH", 12.3, 0.1),
    ]
    exact, bands, peer = _best(lambda: run(tray, paper, entries)), _best(whole), _best(plain)
    reload = _best(reloaded, 1) / RELOADS * 3 * ROWS
    worked = worked_through(tray, paper, entries, np.zeros((5, 1)))
    drawn = np.array([alkali[0] for alkali, _ in worked.after[:-1]])
    # The bath before a wrap, against the exact row less what that wrap takes of it.
    mass = 4.7e-3
    before = [
        (row.alkalinity_mol_per_kg * row.water_kg + 0.12 * mass) / (row.water_kg - 1.8 * mass)
        for row in ledger.rows
    ]
    off = np.abs(drawn - np.array(before))[:45]
    return {
        "wraps": ROWS,
        "ledger_s": round(exact, 4),
        "with_bands_s": round(bands, 4),
        "fit_of_four_readings_s": round(
            _best(lambda: fit(tray, paper, entries[:12], read, spread)), 4
        ),
        "peer_s": round(peer, 4),
        "peer_reloading_s": round(reload, 3),
        "ledger_over_peer": round(exact / peer, 3),
        "ledger_over_peer_reloading": round(exact / reload, 4),
        "balance_error_mol": ledger.balance_error_mol,
        "curve_off_engine_mmol_per_kg": round(float(1000 * off.max()), 3),
    }


if __name__ == "__main__":
    print(bench())
