# %% [markdown]
# # What a wall, a pane and an edge let through
# Losses over frequency, angle and height as arrays, without a survey. Values follow ITU-R P.2040-3 and P.526.

# %%
import matplotlib.pyplot as plt
import numpy as np

import roomfield as rf

frequency_hz = np.linspace(0.7e9, 6e9, 200)
walls = {
    "brick 24 cm": [("brick", 0.24)],
    "concrete 18 cm": [("concrete", 0.18)],
    "pane of two": [("glass", 0.004), ("air", 0.016), ("glass", 0.004)],
    "light wall": [("plasterboard", 0.0125), ("air", 0.075), ("plasterboard", 0.0125)],
}
losses = {name: rf.wall_loss_db(layers, frequency_hz) for name, layers in walls.items()}
assert all(loss.shape == frequency_hz.shape for loss in losses.values())

# %%
figure, axes = plt.subplots()
for name, loss in losses.items():
    axes.plot(frequency_hz / 1e9, loss, label=name)
axes.set_xlabel("GHz")
axes.set_ylabel("loss, dB")
axes.legend()

# %% [markdown]
# The angle matters for panes: at grazing incidence they reflect.

# %%
angles = np.array([[0.0], [45.0], [75.0]])
pane = rf.wall_loss_db(walls["pane of two"], [900e6, 2.45e9, 3.6e9, 5.5e9], angles)
assert pane.shape == (3, 4)
pane.round(1)

# %% [markdown]
# Behind the edge of a screen: 6 dB where the edge just touches the line of sight.

# %%
height_m = np.linspace(-0.5, 1.0, 100)
edge = rf.edge_loss_db(2.45e9, height_m, from_source_m=3.0, to_point_m=2.0)
assert np.isclose(rf.edge_loss_db(2.45e9, 0.0, 3.0, 2.0), 6.02, atol=0.01)
figure, axes = plt.subplots()
axes.plot(height_m, edge)
axes.set_xlabel("edge over the line of sight, m")
axes.set_ylabel("loss, dB")
