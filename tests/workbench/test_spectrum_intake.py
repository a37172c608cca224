"""A second, frequency-selective instrument: traces and levels by band become readings that know their frequencies."""

from __future__ import annotations

import pickle
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import skrf
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import roomfield as rf
from roomfield.cli.mending_calls import call_for
from roomfield.constants import FREE_SPACE_IMPEDANCE_OHM
from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.errors import InputError, RejectedRows, UnknownNameError
from roomfield.exchange.spectrum_table import read_factors
from roomfield.exposure.guideline import Scope
from roomfield.field.emitter_states import receives
from roomfield.field.inference import infer
from roomfield.quantities import Censoring, Kind
from roomfield.references import limits
from roomfield.references.catalogue import service_bands
from roomfield.show.words.told import teller
from roomfield.survey import Emitter, Meter
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.assess.doubts import DoubtKind
from roomfield.workbench.publish.files import report_content, write_report
from roomfield.workbench.publish.plain_values import assessment_plain
from roomfield.workbench.record.readings_intake import Circumstances, Corrections, context_for
from roomfield.workbench.record.spectrum_intake import (
    Instrument,
    SpectrumCircumstances,
    guessed_spectrum,
    hertz,
    kind_asked,
    planned_spectrum,
)

READINGS = "place,peak [µW/m²],average [µW/m²]\nBed,340,11\nDesk,2900,60\n"
BANDS = "Band;From [MHz];To [MHz];Place;Average [V/m]\nFM;87,5;108;Bed;0,02\n;1805;1880;Bed;0,03\n"
FACTORS = "frequency [MHz],antenna factor [dB/m],std [dB]\n80,20,0.5\n6000,20,0.5\n"
STATED = Instrument("Receiver", 3, 1.5)
AT_BED = SpectrumCircumstances(place="Bed", kind=Kind.AVERAGE)


@pytest.fixture
def job(tmp_path):
    begun = rf.begin(tmp_path / "flat.sqlite", "Flat", guideline="building-biology-2015")
    table = tmp_path / "readings.csv"
    table.write_text(READINGS, encoding="utf-8")
    return rf.take_in(begun, table, make_places=True)


@pytest.fixture
def write(tmp_path):
    def call(text, name="levels.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return call


def planned(job, path, instrument=STATED, given=AT_BED, corrections=None):
    return planned_spectrum(job.survey, path, guessed_spectrum(path, corrections), instrument, given, confirmed=True)


def trace(shown_dbm, f=None, head="Frequency [MHz],RMS [dBm]"):
    f = np.arange(900.0, 1000.0, 0.1) if f is None else f
    return (
        head + "\n" + "\n".join(f"{a:.3f},{b:.4f}" for a, b in zip(f, np.broadcast_to(shown_dbm, f.shape), strict=True))
    )


def test_levels_by_band_are_read_with_their_names_and_units(job, write):
    plan = planned(job, write(BANDS))
    assert [(one.meter.name, one.band.low_hz, one.reading.kind) for one in plan.bands] == [
        ("Receiver, FM", 87.5e6, Kind.AVERAGE), ("Receiver, 1800 DL", 1.805e9, Kind.AVERAGE)
    ]  # fmt: skip
    assert plan.bands[0].reading.value_w_m2 == pytest.approx(0.02**2 / FREE_SPACE_IMPEDANCE_OHM)
    assert plan.remarks == ()


UNITS = {
    "dBµV/m": lambda s: 10 * np.log10(s * FREE_SPACE_IMPEDANCE_OHM) + 120.0,
    "V/m": lambda s: np.sqrt(s * FREE_SPACE_IMPEDANCE_OHM),
    "µW/m²": lambda s: s * 1e6,
    "W/m²": lambda s: s,
    "dBm": lambda s: 10 * np.log10(s * FREE_SPACE_IMPEDANCE_OHM) + 120.0 - 20.0 - 10 * np.log10(50.0) - 90.0,
    "dBµV": lambda s: 10 * np.log10(s * FREE_SPACE_IMPEDANCE_OHM) + 120.0 - 20.0,
}
"""What an instrument shows of a power density [W/m²], written apart from the package; antenna factor 20 dB/m."""


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    unit=st.sampled_from(sorted(UNITS)),
    densities=st.lists(st.floats(1e-9, 1e-1), min_size=1, max_size=5),
    megahertz=st.sampled_from([("MHz", 1.0), ("kHz", 1e3), ("GHz", 1e-3), ("Hz", 1e6)]),
    separator=st.sampled_from([";", "\t"]),
    comma=st.booleans(),
)
@pytest.mark.calculated("conversions written out in this test")
def test_what_was_written_comes_back(job, write, unit, densities, megahertz, separator, comma):
    """Round trip: densities written by band in every unit, separator and decimal sign are read as what they were."""
    name, factor = megahertz
    rows = [["band", f"low [{name}]", f"high [{name}]", "place", f"average [{unit}]"]]
    for n, density in enumerate(densities):
        numbers = [
            repr((100.0 + 10.0 * n) * factor),
            repr((105.0 + 10.0 * n) * factor),
            repr(float(UNITS[unit](density))),
        ]
        low, high, value = (one.replace(".", ",") if comma else one for one in numbers)
        rows.append([f"B{n}", low, high, "Bed", value])
    path = write("\n".join(separator.join(row) for row in rows) + "\n")
    antenna = write(FACTORS, "factors.csv") if unit in ("dBm", "dBµV") else ""
    mapping = guessed_spectrum(path).with_decimal("," if comma else ".")
    plan = planned_spectrum(job.survey, path, mapping, replace(STATED, antenna=antenna), AT_BED, confirmed=True)
    assert [one.reading.value_w_m2 for one in plan.bands] == pytest.approx(densities, rel=1e-6)


@pytest.mark.calculated("flat spectrum: level per filter, plus width of the band over the noise bandwidth")
def test_a_trace_is_added_up_over_the_bands_of_services(job, write):
    path = write(trace(-60.0))
    instrument = replace(STATED, antenna=write(FACTORS, "f.csv"), resolution_bandwidth_hz=1e5, noise_bandwidth=1.1)
    plan = planned(job, path, instrument)
    assert [one.band.name for one in plan.bands] == ["900 DL"]
    field_db = -60.0 + 106.9897 + 20.0 + 10.0 * np.log10(35e6 / 1.1e5)
    expected = 10.0 ** (field_db / 10.0 - 12.0) / FREE_SPACE_IMPEDANCE_OHM
    assert plan.bands[0].reading.value_w_m2 == pytest.approx(expected, rel=1e-3)
    assert any("outside these bands" in remark for remark in plan.remarks)


def test_the_instruments_noise_makes_a_bound(job, write):
    shown = np.full(1000, -100.0)
    shown[250:600] = -98.0
    instrument = Instrument("R", 3, 1.5, 1e5, 1.1, antenna=write(FACTORS, "f.csv"), floor=-100.0)
    job = rf.take_spectrum(job, write(trace(shown)), instrument=instrument, at="Bed", kind="average")
    (found,) = assess(job.survey).bands
    assert found.level.censoring is Censoring.BELOW


def test_log_averaging_and_the_filter_move_and_widen(job, write):
    path, antenna = write(trace(-60.0)), write(FACTORS, "f.csv")
    plain = Instrument("R", 3, 1.5, 1e5, antenna=antenna)
    power, log = (planned(job, path, one).bands[0] for one in (plain, replace(plain, averaging="log")))
    assert 10 * np.log10(log.reading.value_w_m2 / power.reading.value_w_m2) == pytest.approx(1.2534, abs=1e-3)
    assert log.meter.calibration[0].std_db > power.meter.calibration[0].std_db


@pytest.mark.parametrize(
    ("text", "more", "told"),
    [
        ("Frequency [MHz],RMS [dBm]\n930,-50\n935,-50\n940,-50\n", {}, "no antenna is named"),
        ("From [MHz],To [MHz],Average [V/m]\n100,90,1\n", {}, "cannot be read"),
        ("From [MHz],To [MHz],Average [V/m]\n90,100,1\n95,108,1\n", {}, "overlap"),
        ("From [MHz],To [MHz],Average [V/m]\n90,100,1\n90,100,2\n", {}, "same band"),
        ("From [MHz],To [MHz],Level [V/m]\n90,100,1\n", {"given": SpectrumCircumstances("Bed")}, "peak, highest held"),
        ("From [MHz],To [MHz],Average [V/m]\n90,100,1\n", {"given": SpectrumCircumstances()}, "at which place"),
        (
            "From [MHz],To [MHz],Average [V/m]\n90,100,1\n",
            {"given": SpectrumCircumstances("Attic")},
            "no place of this",
        ),
        ("From,To,Average [V/m]\n90,100,1\n", {}, "Hz, kHz, MHz or GHz"),
        ("From [MHz],Average [V/m]\n90,1\n", {}, "only one end"),
        ("Frequency [MHz],RMS [V/m]\n930,1\n930,1\n940,1\n", {}, "same frequency"),
        ("Frequency [MHz],RMS [V/m]\n930,1\n935,<1\n940,1\n", {}, "holds a bound"),
        ("Frequency [MHz],RMS [V/m]\n926,1\n935,1\n940,1\n960,1\n", {}, "resolution bandwidth"),
        ("Frequency [MHz],Trace 1 [V/m]\n926,1\n", {}, "no column was recognised that holds levels"),
    ],
)
def test_what_cannot_be_read_is_told(job, write, text, more, told):
    before = len(job.survey.readings)
    with pytest.raises((InputError, RejectedRows)) as fault:
        planned(job, write(text), **more)
    assert told in str(fault.value)
    assert len(job.again().survey.readings) == before


def test_a_column_that_is_not_understood_is_settled_by_the_user(job, write):
    path = write("Frequency [MHz],Trace 1 [V/m]\n" + "\n".join(f"{f},0.001" for f in range(924, 962)))
    instrument = replace(STATED, resolution_bandwidth_hz=1e6)
    plan = planned(job, path, instrument, corrections=Corrections(["Trace 1 [V/m]=highest_held[V/m]"]))
    assert plan.bands[0].reading.kind is Kind.HIGHEST_HELD


def test_a_survey_without_a_broadband_meter_takes_bands_in_and_says_what_readings_need(tmp_path, write):
    begun = rf.begin(tmp_path / "flat.sqlite", "Flat")
    bare = replace(begun.survey, meters=())
    plan = planned_spectrum(
        bare, (path := write(BANDS)), guessed_spectrum(path), STATED, SpectrumCircumstances(make_places=True),
        confirmed=True,
    )  # fmt: skip
    assert len(plan.bands) == 2
    with pytest.raises(InputError, match=r"no meter yet\. Enter the meter first") as refused:
        context_for(bare, Circumstances())
    assert call_for(refused.value.mend).startswith("roomfield meter")


@pytest.mark.parametrize(
    ("given", "known", "mend"),
    [
        (SpectrumCircumstances("Bed", Kind.AVERAGE, state_id="Loud"), "known: As found", "enter the radio state"),
        (SpectrumCircumstances("Attic", Kind.AVERAGE), "known: Bed, Desk", "--make-places"),
    ],
)
def test_a_name_that_is_nobodys_is_answered_with_those_that_are(job, write, given, known, mend):
    path = write("From [MHz];To [MHz];Average [V/m]\n87,5;108;0,02\n")
    with pytest.raises(InputError) as refused:
        planned(job, path, given=given)
    assert known in str(refused.value) and mend in str(refused.value)
    assert known.removeprefix("known: ") in teller("de")(refused.value.what) != refused.value.what


def test_the_same_file_is_not_taken_in_twice(job, write):
    path = write(BANDS)
    job = rf.take_spectrum(job, path, instrument=STATED)
    with pytest.raises(InputError, match="taken in before"):
        rf.take_spectrum(job, path, instrument=STATED)


@pytest.mark.published("ICNIRP 2020, simultaneous exposure; 1999/519/EC, annex IV: sum of S over its limit")
def test_each_band_is_held_against_the_limit_at_its_own_frequencies(job, write):
    job = rf.take_spectrum(job, write(BANDS), instrument=STATED)
    found = assess(job.survey)
    values = {one.name: one for one in found.bands}
    fm, gsm = values["Receiver, FM"], values["Receiver, 1800 DL"]
    assert fm.limit.value_w_m2 == pytest.approx(2.0)
    assert gsm.limit.value_w_m2 == pytest.approx(1805.0 / 200.0)
    (whole,) = found.band_sums
    parts = [(0.02**2, 2.0), (0.03**2, 1805.0 / 200.0)]
    expected = sum(e2 / FREE_SPACE_IMPEDANCE_OHM / limit for e2, limit in parts)
    # The median of a sum of uncertain parts lies above the sum of medians, by less than their spread.
    assert expected < whole.quotient.value < 1.6 * expected
    low, high = whole.quotient.interval().low_w_m2, whole.quotient.interval().high_w_m2
    assert low < expected < high


def test_bands_leave_the_broadband_levels_as_they_are(job, write):
    before = assess(job.survey)
    after = assess(rf.take_spectrum(job, write(BANDS), instrument=STATED).survey)
    assert after.table.levels == before.table.levels
    assert after.limit == before.limit
    assert after.across_meters == ()
    assert not any(one.kind is DoubtKind.METERS_DISAGREE for one in after.doubts)


def test_bands_that_hold_more_than_the_whole_are_doubted(job, write):
    job = rf.take_spectrum(job, write(BANDS.replace("0,03", "3")), instrument=STATED)
    told = [one for one in assess(job.survey).doubts if one.kind is DoubtKind.METERS_DISAGREE]
    assert told and told[0].first_w_m2 > told[0].second_w_m2
    assert told[0].names[0] == "Receiver, FM + Receiver, 1800 DL"


def test_where_only_bands_were_read_their_sum_answers(tmp_path, write):
    job = rf.begin(tmp_path / "b.sqlite", "Flat", guideline="building-biology-2015")
    job = rf.take_spectrum(job, write(BANDS), instrument=STATED, make_places=True)
    found = assess(job.survey)
    (level,) = found.table.levels
    assert level.combined.level.median_w_m2 == pytest.approx((0.02**2 + 0.03**2) / FREE_SPACE_IMPEDANCE_OHM, rel=0.6)
    assert found.limit.value_w_m2 == pytest.approx(limits.select("EU").smallest_in_band(87.5e6, 1.88e9).value_w_m2)


def test_a_band_is_one_service_to_the_guideline(job, write):
    table = "From [MHz],To [MHz],Highest held [µW/m²]\n1880,1900,50\n"
    job = rf.take_spectrum(job, write(table), instrument=STATED, at="Bed")
    (found,) = assess(job.survey).bands
    assert found.name == "Receiver, DECT"
    assert found.guideline.scope is Scope.SINGLE_SERVICE and not found.guideline.is_upper_bound
    per_service = replace(job.survey, assignment=replace(job.survey.assignment, guideline="europaem-2016"))
    (found,) = assess(per_service).bands
    assert found.guideline.service == "dect"


def test_report_json_and_every_language_tell_the_bands(job, write, tmp_path):
    job = rf.take_spectrum(job, write(BANDS), instrument=STATED)
    found = assess(job.survey)
    plain = assessment_plain(found)
    assert [row["band"] for row in plain["bands"]] == ["Receiver, FM", "Receiver, 1800 DL"]
    assert plain["band_totals"][0]["bands"] == 2
    for language, title in (("en", "By band"), ("de", "Nach Bändern"), ("fr", "Par bande")):
        page = write_report(report_content(found), tmp_path / f"r.{language}.html", language=language)
        assert title in page.read_text("utf-8") and "Receiver, FM" in page.read_text("utf-8")


def test_an_emitter_is_in_its_own_band_only():
    band = Meter("b", "Band", band_low_hz=1.88e9, band_high_hz=1.9e9)
    broad = Meter("m", "Broadband", band_low_hz=2e7, band_high_hz=8e9)
    assert band.shows_part and not broad.shows_part and not Meter("u", "Unknown").shows_part
    assert receives(band, Emitter("d", "Base", "dect")) and not receives(band, Emitter("w", "Router", "wifi_data"))
    assert receives(band, Emitter("x", "Unknown")) and receives(broad, Emitter("w", "Router", "wifi_data"))


def test_bands_tell_emitters_apart_for_the_inference():
    """Two emitters on at once in the demo: a reading of the base's band alone narrows what the base sends."""
    survey = demo_survey()
    base = next(e for e in survey.emitters if e.technology.startswith("dect"))
    first = [r for r in survey.readings if r.visit_id == FIRST.id and r.radio_state_id == FIRST.radio_states[0].id]
    survey = replace(survey, readings=tuple(first), bearings=(), recordings=(), logs=(), amendments=())
    meter = Meter("band", "DECT", band_low_hz=1.88e9, band_high_hz=1.9e9, tolerance_db=1.5, repeatability_db=0.5,
                  floor_w_m2=1e-12, pickup_axes=3)  # fmt: skip
    places = list(dict.fromkeys(r.place_id for r in first if r.kind is Kind.HIGHEST_HELD))[:4]
    found = next(r for r in first if r.kind is Kind.HIGHEST_HELD)
    added = tuple(
        replace(found, id=f"b{n}", meter_id="band", place_id=place, value_w_m2=1e-5, position=None, listened=None)
        for n, place in enumerate(places)
    )
    with_band = replace(survey, meters=(*survey.meters, meter), readings=(*survey.readings, *added))
    spread = []
    for one in (survey, with_band):
        posterior = infer(one, visit_id=FIRST.id, draws=200, seed=3)
        index = [e.id for e in posterior.survey.emitters].index(base.id)
        spread.append(np.std(posterior.eirp_db[:, index]))
    assert spread[1] < spread[0]


def test_service_bands_rise_and_do_not_overlap():
    found = service_bands()
    assert all(after.low_hz >= before.high_hz for before, after in pairwise(found))
    assert all(band.high_hz < 2.0 * band.low_hz for band in found)


@pytest.mark.parametrize(
    ("text", "value"), [("100kHz", 1e5), ("1 MHz", 1e6), ("0,2 MHz", 2e5), ("300", None), ("x", None)]
)
def test_bandwidths_as_they_are_typed(text, value):
    if value is None:
        with pytest.raises(InputError):
            hertz(text)
    else:
        assert hertz(text) == pytest.approx(value)


def test_a_kind_that_is_none_is_refused():
    assert kind_asked("max hold") is Kind.HIGHEST_HELD and kind_asked("") is None
    with pytest.raises(UnknownNameError):
        kind_asked("sideways")


SKRF_DATA = Path(skrf.__file__).parent / "data"
SIZES = {"RI": np.hypot, "MA": lambda a, _: abs(a), "DB": lambda a, _: 10.0 ** (a / 20.0)}


@pytest.mark.published("two-ports of the scikit-rf distribution; Touchstone 1.1: f, S11, S21, S12, S22 as RI, MA or DB")
@pytest.mark.parametrize("name", ["line.s2p", "ntwk1.s2p", "wr2p2,line.s2p"])
def test_the_loss_of_a_cable_is_read_from_its_two_port(name):
    path = SKRF_DATA / name
    if not path.is_file():
        pytest.skip("this scikit-rf does not ship it")
    curve = read_factors(path)
    lines = [line.partition("!")[0] for line in path.read_text("latin-1").splitlines()]
    (unit, _, form), *_ = [line.split()[1:4] for line in lines if line.startswith("#")]
    rows = [[float(cell) for cell in line.split()] for line in lines if line.strip() and line[0] != "#"]
    per_unit = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}[unit.upper()]
    sizes = [SIZES[form.upper()](row[3], row[4]) for row in rows]
    assert curve.frequency_hz == pytest.approx([row[0] * per_unit for row in rows], rel=1e-9)
    assert curve.value_db == pytest.approx(-20.0 * np.log10(sizes), abs=1e-6)
    assert not curve.is_gain and curve.std_db is None


NO_TWO_PORTS = ["", "nothing", "# GHz S RI R 50\n1 0 0\n", "# GHz S RI R 50\n1 0 0 0 0 0 0 0 0\n2 0 0 0 0 0 0 0 0\n"]


@pytest.mark.parametrize("text", NO_TWO_PORTS)
def test_what_is_no_two_port_is_told(write, text):
    with pytest.raises(InputError):
        read_factors(write(text, "cable.s2p"))


def test_a_pickle_under_the_name_of_a_two_port_is_never_opened(tmp_path):
    class Harm:
        def __reduce__(self):
            return Path.touch, (tmp_path / "harm",)

    path = tmp_path / "cable.s2p"
    path.write_bytes(pickle.dumps(Harm()))
    with pytest.raises(InputError):
        read_factors(path)
    assert not (tmp_path / "harm").exists()


def test_a_two_port_is_a_cable_of_a_trace(job, write):
    cable = "# GHz S MA R 50\n0.05 0 0 0.5 0 0.5 0 0 0\n6 0 0 0.5 0 0.5 0 0 0\n"
    path = write("Frequency [MHz],RMS [dBm]\n" + "".join(f"{80 + n / 10:.1f},-60\n" for n in range(400)), "trace.csv")
    beside = Instrument("R", 1, 1.5, 1e5, antenna=write(FACTORS, "a.csv"))
    plain, longer = planned(job, path, beside), planned(job, path, replace(beside, cable=write(cable, "cable.s2p")))
    for one, other in zip(plain.bands, longer.bands, strict=True):
        assert other.reading.value_w_m2 == pytest.approx(4.0 * one.reading.value_w_m2)
