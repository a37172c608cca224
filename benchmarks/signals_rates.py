"""Whether printed uncertainties hold: fresh invented emitters of known rates and widths, heard, and held against the truth.

Rates: how often the truth lies within one and two printed standard deviations (68 and 95 % if they are right). Widths: how
far the printed width is off, where bursts have one, and how often the truth lies within its deviations.
"""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from benchmarks.signals_codecs import disguise

TIMED = (
    "dect", "gsm", "tetra", "dmr", "bluetooth_classic", "lte_fdd", "lte_tdd", "nr_tdd", "nr_fdd", "nr_ue_tdd", "umts", "dvbt",
    "wifi_beacon", "wifi_beacon", "wifi_data",
)  # fmt: skip
NEAR = 1e-3
ALIKE = 1.3


def hear_timed(job: tuple[int, int, str]) -> list[dict]:
    """One emitter: for each rate of the truth that is printed, the deviation; and the width's error."""
    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather
    from roomfield.signals.reasons import explain
    from roomfield.signals.simulation import paths
    from roomfield.signals.simulation.audio_scene import compose

    index, seed, path = job
    rng = np.random.default_rng([seed, index, 3])
    name = TIMED[index % len(TIMED)]
    duration = float(rng.choice([4.0, 8.0, 12.0]))
    ppm = paths.drawn_clock_ppm(rng)
    scene = compose(rng, (name,), duration_s=duration, snr_db=float(rng.uniform(10, 34)), clean=True, clock_ppm=ppm)
    samples, sample_rate_hz, stretch = scene.samples, float(scene.sample_rate_hz), 1.0
    if path:
        samples, sample_rate_hz, stretch = disguise(path, samples, sample_rate_hz, rng)
    heard = explain(name, 1.0, gather(condition(samples, sample_rate_hz)), full=True)
    part, rows = scene.components[0], []
    rates_hz = [hz * stretch for hz in part.rates_hz]
    for rate in heard.rates:
        near = [hz for hz in rates_hz if abs(rate.frequency_hz / hz - 1) < NEAR]
        for truth in sorted(near, key=lambda hz: abs(rate.frequency_hz - hz))[:1]:
            rows.append({
                "name": name, "variant": part.variant, "off_ppm": (rate.frequency_hz / truth - 1) * 1e6,
                "std_ppm": rate.frequency_std_hz / truth * 1e6, "rates": len(part.rates_hz), "seconds": duration,
                "z": (rate.frequency_hz - truth) / rate.frequency_std_hz, "snr_db": scene.snr_db[0], "index": index,
            })  # fmt: skip
    widths = part.widths_s
    if heard.burst_width_s and widths is not None and widths.size:
        low, mid, high = np.quantile(widths, [0.1, 0.5, 0.9])
        if high < ALIKE * low:
            off = heard.burst_width_s - float(mid)
            rows.append({
                "name": name, "variant": part.variant, "width_error": off / float(mid), "index": index,
                "width_z": off / (heard.burst_width_std_s or 1e-12), "std_us": (heard.burst_width_std_s or 0.0) * 1e6,
            })  # fmt: skip
    return rows


def run_rates(count: int, seed: int, processes: int, per_file: bool, path: str = "") -> int:
    """Print the shares within one and two deviations, in all and by technology, and the errors of widths."""
    with ProcessPoolExecutor(processes) as pool:
        rows = [
            row for found in pool.map(hear_timed, [(i, seed, path) for i in range(count)], chunksize=5) for row in found
        ]
    for row in rows if per_file else ():
        print(json.dumps(row))
    deviations = {name: [abs(r["z"]) for r in rows if "z" in r and r["name"] == name] for name in dict.fromkeys(TIMED)}
    every = np.concatenate([np.array(v) for v in deviations.values()])
    widths = np.abs([r["width_error"] for r in rows if "width_error" in r])
    width_deviations = np.abs([r["width_z"] for r in rows if "width_z" in r])
    print(json.dumps({
        "rates": every.size, "within_1sd": round(float((every <= 1).mean()), 3),
        "within_2sd": round(float((every <= 2).mean()), 3),
        "by_technology": {
            name: {"n": len(v), "1sd": round(float((np.array(v) <= 1).mean()), 2), "2sd": round(float((np.array(v) <= 2).mean()), 2)}
            for name, v in deviations.items() if v
        },
        "widths": widths.size, "width_error_median": round(float(np.median(widths)), 4),
        "width_error_p90": round(float(np.quantile(widths, 0.9)), 4),
        "widths_within_1sd": round(float((width_deviations <= 1).mean()), 3),
        "widths_within_2sd": round(float((width_deviations <= 2).mean()), 3), "path": path, "seed": seed,
    }))  # fmt: skip
    return 0
