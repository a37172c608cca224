"""The answer as one sentence: names, sets, bare rates, a kind not told."""

from dataclasses import replace

from roomfield.references.technologies import technologies
from roomfield.signals import analyse
from roomfield.signals.hearing import Heard, Periodicity
from roomfield.signals.verdict import answer_for, likely_set, verdict_text

CHANCES = {row.name: 0.01 for row in technologies()}


def heard(**chances):
    rows = [Heard(row.name, row.title, chances.get(row.name, 0.01), (), (), "") for row in technologies()]
    return tuple(sorted(rows, key=lambda h: -h.probability))


def evidence(invent):
    from roomfield.signals.conditioning import condition
    from roomfield.signals.features import gather

    scene = invent("ism_remote", seed=2)
    return gather(condition(scene.samples, 48000.0))


def test_one_of_two_that_cannot_be_parted_is_a_set():
    members, together = likely_set(CHANCES | {"nr_tdd": 0.45, "nr_fdd": 0.48})
    assert set(members) == {"nr_tdd", "nr_fdd"} and 0.7 < together < 0.72
    assert likely_set(CHANCES | {"nr_tdd": 0.45}) == ((), 0.0)


def test_kinds_of_answer(invent):
    quiet = replace(evidence(invent))
    stranger = Periodicity(12.5, 1e-6, 300.0, -200.0, 32)
    cases = (
        ({"dect": 0.9}, (), 0.95, "named", "DECT cordless telephone (90%)"),
        ({"dect": 0.9}, (stranger,), 0.95, "named", "DECT cordless telephone (90%); unknown pulsed signal at 12.5 Hz"),
        ({}, (stranger,), 0.95, "pulsed", "unknown pulsed signal at 12.5 Hz"),
        ({}, (stranger,), 0.2, "tone", "a tone or hum-like sound at 12.5 Hz, no pulsed signal"),
        ({"lte_fdd": 0.48, "lte_tdd": 0.47}, (), 0.9, "set", None),
    )
    for chances, periods, transmitter, kind, words in cases:
        answer = answer_for(heard(**chances), periods, quiet, transmitter)
        assert answer.kind == kind
        text = verdict_text(answer, heard(**chances), 6.0)
        assert words is None or text == words


def test_what_is_there_without_a_name_is_told(invent):
    quiet = evidence(invent)
    empty = replace(quiet, bursts=replace(quiet.bursts, sharpness=quiet.bursts.sharpness * 0))
    answer = answer_for(heard(), (), empty, 0.92)
    assert answer.kind == "transmitter"
    assert verdict_text(answer, heard(), 6.0) == "a transmitter, kind not told (92%)"
    assert answer_for(heard(), (), quiet, 0.92).kind == "bursts"
    assert analyse(invent("dect").samples, sample_rate_hz=48000).transmitter > 0.9
