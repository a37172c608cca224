# %% [markdown]
# # From a frame of readings to levels with intervals
# The home and its readings are invented.

# %%
import tempfile
from pathlib import Path

import matplotlib.pyplot as plt
import pandas as pd

import roomfield as rf

folder = Path(tempfile.mkdtemp())
job = rf.begin(folder / "flat.sqlite", "Flat", guideline="building-biology-2015")
job = rf.bring_plan(job, lines=["Living room 5 x 4", "Bedroom 4 x 3.5 north of Living room"])
job = rf.add_place(job, "Bed", position="Bedroom: 1.2 west, 0.8 south", night="8")

# %%
readings = pd.DataFrame(
    {
        "place": ["Bed", "Desk"],
        "highest held [µW/m²]": [340.0, 2900.0],
        "average [µW/m²]": [11.0, 60.0],
    }
)
job = rf.take_in(job, readings, make_places=True)
findings = rf.assess(job)
levels = findings.to_frame()
assert (levels["low_w_m2"] <= levels["high_w_m2"]).all()
levels[["place", "kind", "low_w_m2", "median_w_m2", "high_w_m2", "outcome", "category"]]

# %% [markdown]
# What the interval is made of, for one reading: a cheap meter is worth a factor of four either way.

# %%
budget = rf.error_budget(job.survey.readings[0], job.survey.meters[0])
assert abs(budget["share"].sum() - 1.0) < 1e-9
budget

# %%
figure, axes = plt.subplots(figsize=(8, 3))
rf.plot_levels(findings, ax=axes)

# %% [markdown]
# A second, frequency-selective instrument at the desk sharpens what the broadband meter can only sum.

# %%
bands = pd.DataFrame({"low [MHz]": [935, 2400], "high [MHz]": [960, 2483.5], "average [V/m]": [0.02, 0.12]})
job = rf.take_spectrum(job, bands, instrument=rf.Instrument("Analyser", axes=3, accuracy_db=1.5), at="Desk")
assert len(job.survey.readings) == 6
