"""The figures of one log are the same at every door: report, page and command."""

from __future__ import annotations

import html
import re

import pytest

from roomfield.survey import Assignment
from roomfield.workbench.publish.contents.long_logs import log_figures
from roomfield.workbench.record import editing, survey_list
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.long_series import kept_series, view_of

ROWS = [f"2026-03-14T21:{n // 60:02d}:{n % 60:02d}Z,{'>2000' if n == 7 else 10 + n % 5}" for n in range(600)]


@pytest.mark.parametrize(
    ("language", "name", "bound"),
    [("en", "Highest value", "at least 2,?000 µW/m²"), ("de", "Höchster Wert", "mindestens 2[.]?000 µW/m²")],
)
def test_report_page_and_command_tell_the_same_figures(client, records, language, name, bound):
    from roomfield.show.words import load_words

    survey_id = survey_list.keep_new(records, editing.started_survey("One", Assignment(), "one-room-flat"))
    text = "time,peak [uW/m2]\n" + "\n".join(ROWS) + "\n"
    told = client.post(f"/surveys/{survey_id}/logs/offer", files={"log": ("night.csv", text.encode())})
    address = told.json()["next"].partition("?")[0]
    made = client.post(address, data={"name": "night.csv", "place_id": "place-1"}, follow_redirects=False)
    page = client.get(made.headers["location"] + "/facts", headers={"accept-language": language}).text
    rows = dict(re.findall(r'<tr><th scope="row">([^<]+)</th><td class="num right">([^<]+)</td></tr>', page))
    shown = {html.unescape(k): html.unescape(v) for k, v in rows.items()}

    survey = survey_list.opened(records, survey_id).survey
    view, words = view_of(kept_series(Job(survey, records), survey.current_logs()[0])), load_words(language)
    reported = {words.text(name): words.text(value) for name, value in log_figures(view)}
    assert shown.items() <= reported.items()
    assert len(shown) >= 8
    assert re.fullmatch(bound, shown[name].replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", ""))
