"""The table of technologies against the standards' published timing."""

import pytest

from roomfield.errors import UnknownNameError
from roomfield.references.technologies import technologies, technology


def rate(name: str, words: str) -> float:
    return next(r.hz for r in technology(name).rates if words in r.name)


@pytest.mark.published("ETSI EN 300 175-2, 10 ms frame of 24 slots, 1152 kbit/s, packet P32 of 420 or 424 bits")
def test_dect_frame_and_packet():
    assert rate("dect", "frame") == pytest.approx(1 / 10e-3)
    width = technology("dect").widths[0]
    assert width.low_s == pytest.approx(420 / 1152e3, abs=0.2e-6)
    assert width.high_s == pytest.approx(424 / 1152e3, abs=0.2e-6)


@pytest.mark.published("3GPP TS 45.002 clause 4.3: slot 15/26 ms, 8 slots per frame, 26 frames in 120 ms")
def test_gsm_frame_slot_and_multiframe():
    slot_s = 15e-3 / 26
    assert rate("gsm", "TDMA frame") == pytest.approx(1 / (8 * slot_s), rel=1e-12)
    assert rate("gsm", "time slot") == pytest.approx(1 / slot_s, rel=1e-12)
    assert rate("gsm", "26-multiframe") == pytest.approx(1 / 0.120, rel=1e-12)


@pytest.mark.published("IEEE 802.11-2007, time unit of 1024 us; beacon period of 100 TU")
def test_beacon_intervals():
    for units in (100, 200, 300):
        assert rate("wifi_beacon", f"{units} TU") == pytest.approx(1 / (units * 1024e-6), rel=1e-12)


@pytest.mark.published("Bluetooth Core, Vol 2 Part B: slot 625 us, HV3 every six slots, eSCO twelve slots")
def test_bluetooth_slots():
    assert rate("bluetooth_classic", "six") == pytest.approx(1 / (6 * 625e-6), rel=1e-12)
    assert rate("bluetooth_classic", "twelve") == pytest.approx(1 / (12 * 625e-6), rel=1e-12)


@pytest.mark.published("ETSI EN 300 392-2 V3.8.1 table 9.9: 255 symbols at 18 ksymbol/s per slot, four slots per frame")
def test_tetra_frame():
    assert rate("tetra", "TDMA frame") == pytest.approx(1 / (4 * 255 / 18e3), rel=1e-12)
    assert rate("tetra", "18-multiframe") == pytest.approx(1 / (18 * 4 * 255 / 18e3), rel=1e-12)


@pytest.mark.published("ETSI EN 300 744: 8k symbol 896 us (8 MHz) plus guard of 1/4 to 1/32")
def test_television_symbols():
    for guard in (4, 8, 16, 32):
        assert rate("dvbt", f"1/{guard}") == pytest.approx(1 / (896e-6 * (1 + 1 / guard)), rel=1e-9)
        assert rate("dvbt", f"2k symbol, guard 1/{guard}") == pytest.approx(1 / (224e-6 * (1 + 1 / guard)), rel=1e-9)


@pytest.mark.published("ETSI EN 300 744 annex: elementary period 1/8 us in 7 MHz channels, so 8192 and 2048 periods")
def test_television_symbols_of_narrower_channels():
    for guard in (4, 8, 16, 32):
        assert rate("dvbt", f"8k symbol of 7 MHz, guard 1/{guard}") == pytest.approx(
            1 / (8192 / 8e6 * (1 + 1 / guard)), rel=1e-9
        )
        assert rate("dvbt", f"2k symbol of 7 MHz, guard 1/{guard}") == pytest.approx(
            1 / (2048 / 8e6 * (1 + 1 / guard)), rel=1e-9
        )


def test_every_row_has_a_source_and_known_confusions():
    names = {row.name for row in technologies()}
    assert len(names) == len(technologies()) >= 22
    for row in technologies():
        assert row.document and row.mark and row.confusion
        assert set(row.confusable) <= names


def test_unknown_name_lists_choices():
    with pytest.raises(UnknownNameError, match="dect"):
        technology("nothing")
