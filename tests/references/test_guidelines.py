"""Guidelines: categories at their edges, rows by service, standing, kinds."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from roomfield.errors import InputError, KindMismatchError, UnknownNameError
from roomfield.quantities import Kind
from roomfield.references import guidelines
from roomfield.references.source import Authority

FILE = Path(__file__).parents[1] / "data" / "guidelines" / "guidelines-checkpoints.csv"
with FILE.open(encoding="utf-8", newline="") as _file:
    POINTS = list(csv.DictReader(_file))
UW = 1e-6


@pytest.mark.published("Building-biology guidelines 2008/2015 and Austrian Medical Association 2012, tables")
@pytest.mark.parametrize("row", POINTS, ids=lambda r: r["peak_uW_per_m2"])
def test_category_of_a_peak(row):
    density = float(row["peak_uW_per_m2"]) * UW
    for edition in ("2008", "2015"):
        chosen = guidelines.guideline_set(f"building-biology-{edition}")
        assert chosen.index_of(density) == int(row["sbm_category_index"])
    assert guidelines.guideline_set("austrian-medical-2012").index_of(density) == int(row["oeak_category_index"])


@pytest.mark.published("Building-biology 2015: '< 0.1', '0.1-10', '10-1000', '> 1000'; 10 stands in two categories")
def test_each_edge_states_its_basis():
    rows = guidelines.categories("building-biology-2015")
    assert [row.lower_edge for row in rows] == ["inclusive", "inclusive", "inclusive", "exclusive"]
    assert "convention" in rows[2].edge_basis
    assert "> 1000" in rows[3].edge_basis


@pytest.mark.parametrize("set_id", ["building-biology-2008", "building-biology-2015", "austrian-medical-2012"])
def test_scales_have_no_gap_and_no_overlap(set_id):
    rows = guidelines.categories(set_id)
    assert rows[0].lower_w_m2 == 0.0 and rows[-1].upper_w_m2 is None
    for lower, upper in pairwise(rows):
        assert lower.upper_w_m2 == upper.lower_w_m2


@pytest.mark.published("EUROPAEM EMF Guideline 2016: ten services, each column a tenth of the one before")
def test_europaem_rows():
    chosen = guidelines.guideline_set("europaem-2016")
    assert len(chosen.services) == 10
    daytime = {
        "fm": 1e4,
        "tetra": 1e3,
        "dvb-t": 1e3,
        "gsm": 100,
        "dect": 100,
        "umts": 100,
        "lte": 100,
        "gprs-ptcch": 10,
        "dab": 10,
        "wifi": 10,
    }
    for service, value in daytime.items():
        sensitive, night, day = chosen.levels_for(service)
        assert [r.name for r in (sensitive, night, day)] == ["sensitive populations", "nighttime", "daytime"]
        assert day.upper_w_m2 == pytest.approx(value * UW)
        assert night.upper_w_m2 == pytest.approx(value * UW / 10)
        assert sensitive.upper_w_m2 == pytest.approx(value * UW / 100)


def test_a_service_without_a_row_borrows_none():
    with pytest.raises(UnknownNameError, match="no radio service named 'nr'"):
        guidelines.categories("europaem-2016", "nr")
    with pytest.raises(InputError, match="Name one of"):
        guidelines.categories("europaem-2016")


@pytest.mark.published("PACE Resolution 1815: 0.6 and 0.2 V/m; Z0 = 376.730 ohm")
def test_resolution_1815():
    rows = guidelines.categories("pace-1815-2011")
    assert [row.upper_w_m2 for row in rows] == pytest.approx([0.2**2 / 376.730313412, 0.6**2 / 376.730313412])


def test_none_of_them_is_law():
    for chosen in guidelines.guideline_sets(superseded=True):
        assert chosen.standing in (
            Authority.VOLUNTARY_DISPUTED,
            Authority.POLITICAL_RESOLUTION,
            Authority.HISTORICAL,
        )
        assert chosen.standing_note and chosen.remark


def test_peak_guidelines_refuse_other_kinds():
    chosen = guidelines.guideline_set("building-biology-2015")
    for kind in (Kind.PEAK, Kind.HIGHEST_HELD):
        chosen.require_kind(kind)
    with pytest.raises(KindMismatchError):
        chosen.require_kind(Kind.AVERAGE)
    guidelines.guideline_set("bioinitiative-2012").require_kind(Kind.AVERAGE)


def test_targets_have_no_category_number():
    with pytest.raises(InputError, match="targets, not categories"):
        guidelines.guideline_set("europaem-2016").index_of(1e-6, "dect")


def test_superseded_ones_are_asked_for():
    current = {item.set_id for item in guidelines.guideline_sets()}
    assert "building-biology-2015" in current and "building-biology-2008" not in current
    assert "building-biology-2008" in {item.set_id for item in guidelines.guideline_sets(superseded=True)}
