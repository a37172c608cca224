"""The page Report: put up for review, reviewed and released by two people."""

from __future__ import annotations

from roomfield.quantities.kind import Kind
from roomfield.workbench.record.authorship import Identity, acting_as
from roomfield.workbench.record.field_entry import Entry, Value, enter
from roomfield.workbench.record.releasing import sign_off


def test_a_report_goes_from_hand_to_hand(client, records, survey_id):
    enter(records, survey_id, Entry("entry-1", "visit-1", "meter-1", "as-found",
                                    (Value(120.0, Kind.PEAK), Value(9.0, Kind.AVERAGE)), place_id="place-1"))  # fmt: skip
    page = client.get(f"/surveys/{survey_id}/report").text
    assert "The report was not put up for review." in page and 'value="draft"' in page
    form = {"visit": "visit-1", "stage": "draft", "note": "<b>look"}
    sent = client.post(f"/surveys/{survey_id}/report/sign-off", data=form, follow_redirects=False)
    assert sent.status_code == 303
    page = client.get(sent.headers["location"]).text
    assert "up for review" in page and "&lt;b&gt;look" in page and 'value="reviewed"' in page
    refused = client.post(f"/surveys/{survey_id}/report/sign-off", data=form | {"stage": "reviewed"})
    assert refused.status_code == 403 and "cannot be the one by whom it is reviewed" in refused.text
    with acting_as(Identity("Rita Reader", "tower")):
        sign_off(records, survey_id, "reviewed")
        sign_off(records, survey_id, "released")
    assert "The report is released." in client.get(f"/surveys/{survey_id}/report?visit=visit-1").text
    preview = client.get(f"/surveys/{survey_id}/report/preview?visit=visit-1").text
    assert "Released by Rita Reader on" in preview
    assert client.post(f"/surveys/{survey_id}/report/sign-off", data=form | {"stage": "gold"}).status_code < 500
