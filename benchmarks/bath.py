"""The bath ledger of 100 wraps in an open tray, and the same with an engine loaded anew each time.

The peer, in the same run, speciates as many solutions but loads its database for every one, as
a program would that keeps no engine.
"""

from __future__ import annotations

import time
from typing import Any

ROWS, PEER_SOLVES = 100, 20


def bench() -> dict[str, Any]:
    """Seconds of a ledger with and without bands, and against the peer."""
    from quirewell.science.bath import engine
    from quirewell.science.bath.ledger import Entry, Paper, Tray, run
    from quirewell.science.bath.ledger_band import change_after, spread_of, with_bands

    tray, paper = Tray(), Paper()
    entries = [Entry("wrap", 4.7, 1.8, 15.0, True)] * ROWS
    run(tray, paper, entries[:2])
    start = time.perf_counter()
    ledger = run(tray, paper, entries)
    exact = time.perf_counter() - start
    spread = spread_of(0.155, tray.strength)
    with_bands(ledger, tray, paper, entries, spread)
    change_after(tray, paper, entries[0], spread)
    whole = time.perf_counter() - start
    start = time.perf_counter()
    for number in range(PEER_SOLVES):
        engine.forget()
        engine.speciate(0.01 - 1e-5 * number, 20.0, 0.002, acid_mol_per_kg=1e-4)
    each = (time.perf_counter() - start) / PEER_SOLVES
    solves = 3 * ROWS
    return {
        "wraps": ROWS,
        "ledger_s": round(exact, 4),
        "with_bands_s": round(whole, 4),
        "peer_s": round(each * solves, 3),
        "ledger_over_peer": round(exact / (each * solves), 4),
        "balance_error_mol": ledger.balance_error_mol,
    }


if __name__ == "__main__":
    print(bench())
