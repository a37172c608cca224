from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from roomfield.errors import RangeError, UnknownNameError
from roomfield.field.site_general import Building, entry_loss_db, home_loss_db, indoor_loss_db

DATA = Path(__file__).parents[1] / "data" / "propagation"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.published("ITU-R P.1238-11, site-general model")
@pytest.mark.parametrize("row", rows("p1238-checks.csv"), ids=lambda r: "-".join(list(r.values())[:4]))
def test_indoor_loss(row: dict[str, str]):
    loss = indoor_loss_db(float(row["f_GHz"]) * 1e9, float(row["d_m"]), row["environment"], row["path"])
    assert float(loss.loss_db) == pytest.approx(float(row["L_dB"]), abs=1e-3)


@pytest.mark.published("ITU-R P.2109-2 (08/2023), section 3, Table 1")
@pytest.mark.parametrize("row", rows("bel-checks.csv"), ids=lambda r: "-".join(list(r.values())[:2]))
def test_entry_loss(row: dict[str, str]):
    building, frequency_hz = Building(row["building"]), float(row["f_GHz"]) * 1e9
    for probability, elevation, column in (
        (0.1, 0.0, "L_p10_dB"), (0.5, 0.0, "L_median_dB"), (0.9, 0.0, "L_p90_dB"),
        (0.5, 30.0, "L_median_30deg_dB"), (0.5, 45.0, "L_median_45deg_dB"),
    ):  # fmt: skip
        loss = entry_loss_db(frequency_hz, probability, building=building, elevation_deg=elevation)
        assert float(loss) == pytest.approx(float(row[column]), abs=1e-3), column


@pytest.mark.published("ITU-R P.1238-10 (2019), site-specific model: L = 20 log10 f + N log10 d + Lf(n) - 28")
def test_home_loss_by_floors():
    assert float(home_loss_db(1.9e9, 10.0)) == pytest.approx(20 * np.log10(1900.0) + 28.0 - 28.0)
    one, three = home_loss_db(1.9e9, 10.0, 1), home_loss_db(1.9e9, 10.0, 3)
    assert float(three - one) == pytest.approx(8.0)
    assert float(home_loss_db(2.45e9, 10.0, 1, "apartment") - home_loss_db(2.45e9, 10.0, 1, "house")) == 5.0


def test_range_is_told():
    near = indoor_loss_db(2.45e9, [1.0, 10.0])
    assert near.in_range.tolist() == [False, True]
    with pytest.raises(RangeError, match=r"P\.2109"):
        entry_loss_db(5e7)
    with pytest.raises(UnknownNameError, match="cellar"):
        indoor_loss_db(2.45e9, 5.0, "cellar")
