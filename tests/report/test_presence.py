"""Which transmitter was there when: a mark for each stretch in which it is likely, and none elsewhere."""

import xml.etree.ElementTree as ET

import pytest

from roomfield.show.figures.presence import PresenceRow, presence
from roomfield.show.words.message_catalogue import load_words

STRETCHES = [(0.0, 16.0), (3600.0, 3616.0), (7200.0, 7216.0)]
ROWS = [PresenceRow("Cordless", [0.99, 0.02, 0.3]), PresenceRow("Wi-Fi", [0.0, 0.97, 0.6])]


def marks(svg: str) -> list[ET.Element]:
    return [e for e in ET.fromstring(svg).iter() if e.tag.endswith("rect") and e.get("class") == "there"]


@pytest.mark.parametrize("language", ["en", "de"])
def test_each_likely_stretch_has_one_mark_at_its_time(language):
    svg = presence(STRETCHES, ROWS, 8 * 3600.0, load_words(language))
    found = sorted(float(mark.get("x")) for mark in marks(svg))
    assert len(found) == 3
    left = min(found)
    steps = [x - left for x in found]
    assert steps[2] == pytest.approx(2 * steps[1], abs=0.1)
    assert "h:mm" in svg
    assert "1 of 3" in svg or "1 von 3" in svg


def test_short_recordings_are_drawn_in_minutes_and_seconds():
    assert "m:ss" in presence([(0.0, 16.0), (16.0, 32.0)], [PresenceRow("x", [1.0, 1.0])], 32.0, load_words("en"))
