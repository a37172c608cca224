"""Compiled sums over emitters, for many draws at once; `forward.Forward.predict` says the same in NumPy.

Powers are linear [W/m²]: ``site`` is what each emitter makes at each site while on air (n, k, p), ``gain`` the
meter's gain error as a factor (n, g). ``modes`` (2, n, k + m) holds the power, as a factor, and the share of time
of each emitter as found, then of each of the m activities noted beside. ``rows`` holds, per reading, the site,
the kind (2 is an average, which alone is weighed by duty), and for each emitter the index of the gain error, or -1 if
it was off; ``mode`` (r, k) says which of the k + m holds; ``pickup`` is a factor per reading and emitter.
"""

from __future__ import annotations

import math

import numpy as np

from roomfield.kernel_cache import kernel

_LEAST = 1e-40
_DB_PER_NEPER = 10.0 / math.log(10.0)


@kernel(error_model="numpy")
def mix(site, modes, gain, rows, mode, pickup, single_db, power):
    """Level of each reading [dB] with the scan's gain, and each emitter's share; shapes (n, r), (n, r, k)."""
    n, k = site.shape[:2]
    r = rows.shape[0]
    level = np.empty((n, r))
    shares = np.empty((n, r, k))
    for i in range(n):
        for j in range(r):
            total = _LEAST
            for e in range(k):
                value = 0.0
                if rows[j, 2 + e] >= 0:
                    value = site[i, e, rows[j, 0]] * gain[i, rows[j, 2 + e]] * pickup[j, e] * modes[0, i, mode[j, e]]
                    if rows[j, 1] == 2:
                        value *= modes[1, i, mode[j, e]]
                shares[i, j, e] = value
                total += value
            even = 0.0
            spread = 0.0
            part = 1.0 / total
            for e in range(k):
                share = shares[i, j, e] * part
                shares[i, j, e] = share
                even += share * share
                spread += share * single_db[j, e]
            level[i, j] = _DB_PER_NEPER * math.log(total)
            if rows[j, 1] < 2 and spread != 0.0:
                level[i, j] += spread * math.exp(power * math.log(even))
    return level, shares


@kernel(error_model="numpy")
def spread_back(pull, shares, rows, mode, n_sites, n_gains, n_modes):
    """Derivatives by each emitter's level at each site, by power and duty of each mode, by each gain error [per dB]."""
    n, r, k = shares.shape
    site = np.zeros((n, k, n_sites))
    offset = np.zeros((n, n_modes))
    duty = np.zeros((n, n_modes))
    gain = np.zeros((n, n_gains))
    for i in range(n):
        for j in range(r):
            for e in range(k):
                if rows[j, 2 + e] < 0:
                    continue
                part = pull[i, j] * shares[i, j, e]
                site[i, e, rows[j, 0]] += part
                gain[i, rows[j, 2 + e]] += part
                offset[i, mode[j, e]] += part
                if rows[j, 1] == 2:
                    duty[i, mode[j, e]] += part
    return site, offset, duty, gain
