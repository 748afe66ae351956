"""Run in the peers' environment: GTC and statsmodels on given numbers.

Arguments: .json in (drawn pairs, counts, readings of two worked examples), .json out.
"""

import json
import sys
from pathlib import Path

import numpy as np
from GTC import cos, get_correlation, sin, type_a, uncertainty, ureal, value
from statsmodels.stats.descriptivestats import sign_test
from statsmodels.stats.oneway import anova_oneway
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import ttost_paired

source, target = (Path(one) for one in sys.argv[1:])
given = json.loads(source.read_text())
out = {}

out["tost"] = []
for one in given["pairs"]:
    before, after = np.array(one["before"]), np.array(one["after"])
    p, *_ = ttost_paired(after, before, -one["margin"], one["margin"])
    out["tost"].append(float(p))

out["limits"] = [
    [float(end) for method in ("beta", "wilson")
     for end in proportion_confint(hits, n, alpha=1 - level, method=method)]
    for hits, n, level in given["counts"]
]  # fmt: skip
out["signs"] = [float(sign_test(np.array(one), 0)[1]) for one in given["signs"]]
out["anova"] = [
    float(anova_oneway([np.array(group) for group in one], use_var="equal").statistic)
    for one in given["groups"]
]

length, opens = 50.000623e6, ureal(0, 0.1e-5 / 3**0.5, 50)
gauge = (
    ureal(length, 25, 18) + ureal(215, 5.8, 24) + ureal(0, 3.9, 5) + ureal(0, 6.7, 8)
    - length * (opens * ureal(-0.1, 0.41) + ureal(11.5e-6, 2e-6 / 3**0.5)
                * ureal(0, 0.05 / 3**0.5, 2))
)  # fmt: skip
out["h1"] = [value(gauge), uncertainty(gauge), gauge.df]

volts, amperes, angle = type_a.multi_estimate_real(given["joint"])
ohms = 1000 * volts / amperes
results = [ohms * cos(angle), ohms * sin(angle), ohms]
out["h2"] = [[value(one) for one in results], [uncertainty(one) for one in results]]
out["h2"].append([get_correlation(results[a], results[b]) for a, b in ((0, 1), (0, 2), (1, 2))])

start, slope = type_a.line_fit(*given["line"]).a_b
at = start + slope * 10
out["h3"] = [value(start), uncertainty(start), value(slope), uncertainty(slope),
             get_correlation(start, slope), value(at), uncertainty(at)]  # fmt: skip
target.write_text(json.dumps(out))
