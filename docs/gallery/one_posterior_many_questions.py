# %% [markdown]
# # One posterior, many questions
# The demo home is invented, with known truth. Everything below is read off the same draws.

# %%
import tempfile
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

import roomfield as rf

home = rf.open_demo()
draws = rf.level_draws(home, kind="highest_held")
draws

# %% [markdown]
# A bound per draw keeps what belongs together: the chance that *every* bed is under it is not the product.

# %%
beds = [place.name for place in home.survey.places if place.kind.value in ("bed", "cot") and place.position]
over = draws["density_w_m2"].sel(place=beds) > 1e-3
each = over.mean("draw")
any_of_them = float(over.any("place").mean())
assert float(each.max()) <= any_of_them <= float(each.sum()) + 1e-12

# %%
figure, axes = plt.subplots()
for name in beds:
    axes.hist(10 * np.log10(draws["density_w_m2"].sel(place=name) * 1e6), bins=40, histtype="step", label=name)
axes.set_xlabel("dB over 1 µW/m²")
axes.legend()

# %% [markdown]
# The map as labelled arrays, and both as NetCDF that any reader of the CF conventions takes.

# %%
level = rf.map_arrays(home, step_m=0.5, bound_w_m2=1e-3)
assert {"mean_db", "std_db", "probability_over_bound"} == set(level.data_vars)
folder = Path(tempfile.mkdtemp())
draws.to_netcdf(folder / "draws.nc", engine="scipy")
rf.level_map(home, folder / "map.nc", step_m=0.5)
rf.level_map(home, folder / "home.gpkg", step_m=0.5)

# %%
figure, axes = plt.subplots()
rf.plot_map(home, step_m=0.5, ax=axes)
