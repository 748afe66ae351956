"""Run in the peers' environment: isotonic regression by scikit-learn.

Arguments: .npy in (rows: x, y, weight; blocks along the first axis), .npy out (fitted y).
"""

import sys

import numpy as np
from sklearn.isotonic import IsotonicRegression

source, target = sys.argv[1:]
out = [
    IsotonicRegression().fit_transform(block[0], block[1], sample_weight=block[2])
    for block in np.load(source)
]
np.save(target, np.array(out))
