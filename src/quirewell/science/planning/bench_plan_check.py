"""Whether a schedule keeps a project's rules, by a count of its own that knows no model."""

from __future__ import annotations

from collections.abc import Sequence


def check(
    durations: Sequence[int],
    demands: Sequence[Sequence[int]],
    capacities: Sequence[int],
    lags: Sequence[tuple[int, int, int]],
    starts: Sequence[int],
) -> tuple[str, ...]:
    """What the starts break, a sentence each; empty when all rules are kept.

    >>> check([3, 2], [[1], [1]], [1], [], [0, 2])
    ('At 2 the activities 0, 1 take 2 of resource 0, which has 1.',)
    """
    if len(starts) != len(durations):
        return (f"There are {len(durations)} activities but {len(starts)} starts.",)
    broken = [f"Activity {i} starts at {s}, before 0." for i, s in enumerate(starts) if s < 0]
    for i, j, d in lags:
        if starts[j] - starts[i] < d:
            broken.append(
                f"Activity {j} starts at {starts[j]}, but must start at {starts[i] + d} or later "
                f"({d} after activity {i})."
                if d >= 0
                else f"Activity {i} starts at {starts[i]}, but must start by {starts[j] - d} "
                f"({-d} after activity {j} at most)."
            )
    for moment in sorted(set(starts)):
        running = [i for i, s in enumerate(starts) if s <= moment < s + durations[i]]
        for k, capacity in enumerate(capacities):
            taking = [i for i in running if demands[i][k] > 0]
            taken = sum(demands[i][k] for i in taking)
            if taken > capacity:
                names = ", ".join(str(i) for i in taking)
                broken.append(
                    f"At {moment} the activities {names} take {taken} of resource {k}, "
                    f"which has {capacity}."
                )
    return tuple(broken)
