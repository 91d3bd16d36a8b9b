"""Plants of textbooks, as rules take them."""

import numpy as np

from host_sim.tune.rules_plant import DelayedPlant


def lags(*lags_s, gain=1.0, delay_s=0.0):
    """Lags in series, the first one driven, the last one seen."""
    count = len(lags_s)
    a, b, c = np.zeros((count, count)), np.zeros(count), np.zeros(count)
    for k, lag_s in enumerate(lags_s):
        a[k, k] = -1.0 / lag_s
        if k:
            a[k, k - 1] = 1.0 / lag_s
    b[0], c[-1] = gain / lags_s[0], 1.0
    return DelayedPlant(a, b, c, delay_s)
