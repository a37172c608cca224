"""What the model could not settle, in the words of the report."""

from __future__ import annotations

from dataclasses import replace

import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.field.locate import Bearings
from roomfield.report.compose.blocks import Paragraph
from roomfield.report.compose.front import Links, front
from roomfield.report.compose.sources import steps_section
from roomfield.show.words import load_words
from roomfield.survey import CalibrationPoint, HeardTechnology, Recording
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.model.joint_model import posterior_of
from roomfield.workbench.model.model_fit import fit_at, meter_question_at
from roomfield.workbench.plan.next_measurement import asked_question, measure_next_for
from roomfield.workbench.publish.answers import answer
from roomfield.workbench.publish.contents.measuring import measuring_advice
from roomfield.workbench.publish.contents.model_answers import open_questions, sought_direction
from roomfield.workbench.publish.contents.unsettled import unsettled
from roomfield.workbench.record.meters import with_certificate_row


def said(survey, language: str = "en") -> list[str]:
    words = load_words(language)
    return [words.text(text) for text in open_questions(posterior_of(survey, FIRST.id))]


def test_nothing_is_said_to_stand_out_in_the_demo():
    assert not [text for text in said(demo_survey()) if "does not fit" in text or "only badly" in text]


@pytest.mark.parametrize("factor", [40.0, 1 / 40.0], ids=["16 dB too high", "16 dB too low"])
def test_a_slip_is_named_with_its_reading_or_its_place(factor):
    survey = demo_survey()
    slipped = tuple(
        replace(r, value_w_m2=r.value_w_m2 * factor) if r.id == "1-016" else r for r in survey.readings
    )  # the sofa's peak as found
    text = " ".join(said(replace(survey, readings=slipped)))
    assert "Reading 1-016 at Sofa does not fit" in text or "The readings at Sofa fit the model only badly" in text


def test_a_technology_heard_of_which_there_is_no_transmitter_is_to_be_looked_for():
    survey = demo_survey()
    heard = Recording(
        "rec-1", FIRST.id, "demo-meter", "as_found", "0" * 64, "cot", heard=(HeardTechnology("tetra", 0.97),)
    )
    with_recording = replace(survey, recordings=(heard,))
    assert any("TETRA" in text and "no such transmitter is on record" in text for text in said(with_recording))
    assert any("TETRA" in text and "danach suchen" in text for text in said(with_recording, "de"))


def test_a_direction_is_told_with_its_opposite_where_the_readings_cannot_tell():
    front, back = Bearings(86.0, 70.0, 100.0, 0.6), Bearings(266.0, 250.0, 280.0, 0.35)
    english, german = load_words("en"), load_words("de")
    assert english.text(sought_direction((front,))).startswith("in the direction of 86° from plan north, between 70°")
    both = english.text(sought_direction((front, back)))
    assert "between 70° and 100° (60" in both and "or of 266°" in both and "do not tell which" in both
    assert "oder 266°" in german.text(sought_direction((front, back)))
    wide = (Bearings(10.0, 270.0, 110.0, 0.9),)
    assert "do not tell in which direction" in english.text(sought_direction(wide))


@pytest.mark.published("FCC OET 65 (97-01) and ITU-T K.61: reactive near field up to lambda / 2 pi, 0.239 m at 200 MHz")
@pytest.mark.parametrize(("apart_m", "named"), [(0.23, True), (0.25, False)])
def test_a_place_in_the_reactive_near_field_is_named(apart_m, named):
    survey = demo_survey()
    place = next(p for p in survey.places if p.position and any(r.place_id == p.id for r in survey.readings))
    x, y, z = place.position
    beside = replace(survey.emitters[0], name="Doorbell", position=(x + apart_m, y, z), frequency_hz=200e6)
    assessment = assess(replace(survey, emitters=(beside, *survey.emitters[1:])), FIRST.id)
    for language, words in (("en", "an indication only"), ("de", "nur ein Anhalt")):
        told = [load_words(language).text(text) for text in unsettled(assessment)]
        assert any("Doorbell" in one and place.name in one and words in one for one in told) is named


def shifted(survey, by_db: float):
    """Every reading by so many decibels higher."""
    return replace(
        survey, readings=tuple(replace(r, value_w_m2=r.value_w_m2 * 10 ** (by_db / 10)) for r in survey.readings)
    )


def test_nothing_is_asked_of_the_meter_where_readings_are_as_usual():
    assert meter_question_at(demo_survey(), FIRST.id) == ""
    assert report_with_model(demo_survey()).together is None


@pytest.mark.parametrize(
    ("by_db", "english", "german"),
    [
        (-14.0, "does the meter read low, or is a transmitter weaker?", "zu wenig an, oder ist ein Sender schwächer?"),
        (14.0, "does the meter read high, or is a transmitter stronger?", "zu viel an, oder ist ein Sender stärker?"),
    ],
)
def test_readings_that_together_lie_far_off_raise_a_question(by_db, english, german):
    survey = shifted(demo_survey(), by_db)
    for language, words in (("en", english), ("de", german)):
        asked = meter_question_at(survey, FIRST.id, language)
        assert words in asked and "roomfield meter-check" in asked and "roomfield change transmitter" in asked
        content = report_with_model(survey)
        assert [load_words(language).text(text) for text in content.undetermined].count(asked) == 1
        assert load_words(language).text(content.together) in " ".join(page_one(content, language))
    found = fit_at(survey, FIRST.id).together
    assert found.beyond and found.offset_db.median * by_db > 0.0
    assert abs(found.offset_db.median) < abs(by_db) + 3.0


def report_with_model(survey):
    """What the report says, with the model."""
    return answer(survey, FIRST.id, modelled=True)


def page_one(content, language: str) -> list[str]:
    """The paragraphs of the first page."""
    blocks = front(content, load_words(language), Links({})).blocks
    return [block.text for block in blocks if isinstance(block, Paragraph)]


@pytest.mark.parametrize(
    ("language", "begins"), [("en", "On the question which plan"), ("de", "Zur Frage, welcher Plan")]
)
def test_the_report_says_why_measuring_stopped(language, begins):
    survey = demo_survey()
    told = load_words(language).text(measuring_advice(survey, FIRST.id, language))
    question = asked_question(survey, "open", None)
    assert told.startswith(begins)
    assert told.endswith(measure_next_for(survey, FIRST.id, question, language).sentence)
    content = replace(report_with_model(survey), measuring=measuring_advice(survey, FIRST.id, language))
    section = steps_section(content, load_words(language))
    assert told in [block.text for block in section.blocks if isinstance(block, Paragraph)]


def test_without_a_list_of_actions_the_open_question_is_whether_the_aim_is_met():
    told = load_words("en").text(measuring_advice(replace(demo_survey(), actions=()), FIRST.id, "en"))
    assert told.startswith("On the question whether the aim is met where people sleep")


def test_nothing_is_said_of_measuring_on_without_an_aim_or_a_bed():
    survey = demo_survey()
    aimless = replace(survey, assignment=replace(survey.assignment, aim_w_m2=None))
    assert measuring_advice(aimless, FIRST.id, "en") is None
    assert measuring_advice(replace(survey, places=()), FIRST.id, "en") is None


def test_a_known_power_or_a_certificate_answers_the_question():
    survey = shifted(demo_survey(), -14.0)
    weaker = tuple(replace(e, eirp_w=e.eirp_w * 10**-1.2) for e in survey.emitters)
    assert meter_question_at(replace(survey, emitters=weaker), FIRST.id) == ""
    checked = survey
    for frequency_hz in (0.8e9, 2.45e9, 5.5e9):
        checked = with_certificate_row(checked, survey.meters[0].id, CalibrationPoint(frequency_hz, 12.0, 0.8))
    assert meter_question_at(checked, FIRST.id) == ""
