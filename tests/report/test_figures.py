from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from types import ModuleType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.show.chapters import DayProfile, FoldedProfile, LevelStep, Timeline, TradeOffPoint
from roomfield.show.drawings import LevelGrid, PlanPlace, PlanStorey, PlanWall
from roomfield.show.evidence import Budget, BudgetLine, CheckEntry, ControlChart
from roomfield.show.figures import style
from roomfield.show.figures.axis import LinearScale, LogScale, level_scale, linear_scale
from roomfield.show.figures.bars import ContributionBar, PairBar, before_after, budget_bars, contribution_bars
from roomfield.show.figures.control_chart import control_chart
from roomfield.show.figures.envelope import envelope_spectrum, folded_profile
from roomfield.show.figures.level_axis import AxisMark, AxisRow, level_axis
from roomfield.show.figures.level_map import contour_levels, level_map, level_span
from roomfield.show.figures.series import day_profile, runs, timeline
from roomfield.show.figures.storey_plan import frame, storey_plan
from roomfield.show.figures.svg import fitted, text_width
from roomfield.show.figures.tradeoff import lowest_levels, trade_off
from roomfield.show.findings import Level, Shown
from roomfield.show.words import Words

NAMESPACE = "{http://www.w3.org/2000/svg}"
PEAK = Kind.PEAK
LOWEST = (LevelStep(0.0, 1e-2, 0.0), LevelStep(50.0, 1e-3, 10.0, chosen=True), LevelStep(400.0, 5e-4, 13.0))


def read(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [e for e in root.iter() if name in (e.get("class") or "").split()]


def number(element: ET.Element, name: str) -> float:
    return float(element.get(name) or "nan")


def all_figures(sample: ModuleType, words: Words) -> dict[str, str]:
    full = sample.full()
    recording, log = full.recordings[0], full.logs[0]
    rows = [AxisRow(p.name, lv.kind, lv.level, lv.shown) for p in full.places for lv in p.levels]
    marks = [AxisMark(1e-8, "floor", dashed=True), AxisMark(1e-5, "guideline"), AxisMark(10.0, "law", strong=True)]
    bars = [ContributionBar(c.place_id, c.source, c.median_w_m2, c.low_w_m2, c.high_w_m2) for c in full.contributions]
    pairs = [
        PairBar(r.place, r.before, r.after, r.reduction_db, r.reduction_low_db, r.reduction_high_db, r.predicted_after)
        for r in full.verification.rows
    ]
    return {
        "axis": level_axis(rows, marks, words),
        "plan": storey_plan(full.storeys[0], words),
        "map": level_map(full.maps[0], words),
        "contributions": contribution_bars(bars, words),
        "budget": budget_bars(full.budgets[0], words),
        "control": control_chart(full.meters[0].chart, words),
        "profile": folded_profile(recording.profile, words),
        "spectrum": envelope_spectrum(recording.spectrum, words),
        "timeline": timeline(log.timeline, words),
        "day": day_profile(log.day, words),
        "tradeoff": trade_off(full.remedy.curve, words, currency="EUR", confidence=0.9),
        "lowest": lowest_levels(LOWEST, words, currency="EUR", target_w_m2=1e-4),
        "before_after": before_after(pairs, words, target_w_m2=1e-5),
    }


@pytest.mark.published("W3C SVG 2, 5.7 'desc' and 'title'; WAI-ARIA 1.2, role img needs a name (from memory)")
def test_figures_are_accessible_and_need_nothing_else(sample: ModuleType, words: Words) -> None:
    for name, svg in all_figures(sample, words).items():
        root = read(svg)
        assert root.tag == f"{NAMESPACE}svg", name
        assert root.get("role") == "img"
        assert root.get("class", "").startswith("rf-figure rf-")
        assert root[0].tag == f"{NAMESPACE}title"
        assert root[0].text
        assert root[1].tag == f"{NAMESPACE}desc"
        assert len(root[1].text or "") > 30
        assert not re.search(r"\bstyle=|<style|<script|href|onload|https?://(?!www\.w3\.org/2000/svg)", svg), name


def test_everything_drawn_lies_inside_the_picture(sample: ModuleType, words: Words) -> None:
    for name, svg in all_figures(sample, words).items():
        root = read(svg)
        _, _, width, height = (float(v) for v in (root.get("viewBox") or "").split())
        for element in root.iter():
            for key in ("x", "x1", "x2", "cx"):
                if key in element.attrib and "pattern" not in element.tag:
                    assert -0.01 <= number(element, key) <= width + 0.01, (name, element.attrib)
            for key in ("y", "y1", "y2", "cy"):
                if key in element.attrib and "pattern" not in element.tag:
                    assert -0.01 <= number(element, key) <= height + 0.01, (name, element.attrib)
            if element.tag == f"{NAMESPACE}text":
                reach = text_width(element.text or "", number(element, "font-size"))
                start = {"end": -reach, "middle": -reach / 2}.get(element.get("text-anchor", ""), 0.0)
                assert number(element, "x") + start >= -6, (name, element.text)
                assert number(element, "x") + start + reach <= width + 6, (name, element.text)


@pytest.mark.parametrize("text", ['"><script>alert(1)</script>', "a & b < c", "]]>", "x" * 300, "\u202eright to left"])
def test_user_text_in_figures_stays_text(sample: ModuleType, english: Words, text: str) -> None:
    place = PlanPlace(1, text, (1.0, 1.0), label=text)
    storey = replace(sample.plan(), name=text, places=(place,))
    row = AxisRow(text, PEAK, sample.spread(10.0))
    for svg in (storey_plan(storey, english), level_axis([row], [AxisMark(1e-5, text)], english)):
        root = read(svg)
        assert not [e for e in root.iter() if "script" in e.tag]
        assert any((e.text or "")[:5] == " ".join(text.split())[:5] for e in root.iter(f"{NAMESPACE}text"))


def test_intervals_stand_where_the_logarithm_puts_them(english: Words) -> None:
    level = Level(100e-6, 10e-6, 1000e-6)
    rows = [AxisRow("P", PEAK, level, Shown(90e-6))]
    marks = [AxisMark(1e-6, "low"), AxisMark(1e-2, "high", strong=True)]
    root = read(level_axis(rows, marks, english))
    left, right = (number(line, "x1") for line in of_class(root, "mark"))
    decade = (right - left) / 4
    bar = of_class(root, "interval")[0]
    assert number(bar, "x") == pytest.approx(left + decade, abs=0.02)
    assert number(bar, "width") == pytest.approx(2 * decade, abs=0.02)
    assert number(of_class(root, "median")[0], "x1") == pytest.approx(left + 2 * decade, abs=0.02)
    shown = left + decade * math.log10(90.0)
    assert number(of_class(root, "shown")[0], "cx") == pytest.approx(shown, abs=0.02)


def test_censored_levels_have_an_arrow_and_no_median(english: Words) -> None:
    floor = AxisRow("F", PEAK, Level(5e-9, 0.0, 2e-8, Censoring.BELOW), Shown(1e-8, Censoring.BELOW))
    over = AxisRow("O", PEAK, Level(4.0, 1.8, 9.0, Censoring.ABOVE), Shown(2.5, Censoring.ABOVE))
    root = read(level_axis([floor, over], [AxisMark(1e-8, "a"), AxisMark(10.0, "b")], english))
    assert len(of_class(root, "censored")) == 2
    assert not of_class(root, "median")
    assert not of_class(root, "shown")
    texts = [e.text for e in root.iter(f"{NAMESPACE}text")]
    assert any((t or "").startswith("< 0.02") for t in texts)
    assert any((t or "").startswith("> 1") for t in texts)
    below, above = of_class(root, "censored")
    assert number(below, "x2") < number(below, "x1")
    assert number(above, "x2") > number(above, "x1")


def test_labels_of_close_marks_do_not_run_into_each_other(english: Words) -> None:
    marks = [AxisMark(1e-5 * 1.1**n, f"guideline number {n}") for n in range(8)]
    root = read(level_axis([AxisRow("P", PEAK, Level(1e-5, 1e-6, 1e-4))], marks, english))
    boxes = []
    for element in root.iter(f"{NAMESPACE}text"):
        if (element.text or "").startswith("guideline"):
            width, x = text_width(element.text or "", 7.5), number(element, "x")
            start = x - width if element.get("text-anchor") == "end" else x
            boxes.append((start, start + width, number(element, "y")))
    assert len(boxes) == 8
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            assert a[2] != b[2] or a[1] <= b[0] or b[1] <= a[0]


@given(st.lists(st.floats(min_value=1e-9, max_value=1e9), min_size=1, max_size=6))
def test_level_scale_holds_all_values_over_whole_decades(values: list[float]) -> None:
    scale = level_scale(values, 0.0, 100.0)
    assert all(scale.low <= v * (1 + 1e-9) and v <= scale.high * (1 + 1e-9) for v in values)
    assert math.log10(scale.low) == pytest.approx(round(math.log10(scale.low)), abs=1e-9)
    ticks = [scale.at(v) for v in scale.decades()]
    gaps = [b - a for a, b in itertools.pairwise(ticks)]
    assert max(gaps) - min(gaps) < 1e-6


@given(st.lists(st.floats(min_value=-1e6, max_value=1e6), min_size=1, max_size=6))
def test_linear_scale_holds_all_values_and_has_few_round_ticks(values: list[float]) -> None:
    scale = linear_scale(values, 0.0, 100.0)
    slack = 1e-8 * (scale.high - scale.low)
    assert scale.low <= min(values) + slack
    assert scale.high >= max(values) - slack
    assert 2 <= len(scale.ticks()) <= 14


@pytest.mark.parametrize("values", [[0.0, 5e-324], [7.0, 7.0], [1e6, 1e6 + 1e-7], []])
def test_linear_scale_of_values_that_hardly_differ(values: list[float]) -> None:
    scale = linear_scale(values, 0.0, 100.0)
    assert scale.high - scale.low >= 1.0
    assert all(0.0 <= scale.at(v) <= 100.0 for v in values)


def test_scales_clip_to_their_ends() -> None:
    assert LogScale(1, 100, 0, 10).at(0.0) == 0
    assert LogScale(1, 100, 0, 10).at(1e9) == 10
    assert LinearScale(0, 1, 5, 15).at(-3) == 5


def test_plan_is_to_scale_with_north_up(english: Words) -> None:
    walls = (PlanWall((0, 0), (8, 0)), PlanWall((8, 0), (8, 4)))
    storey = PlanStorey("S", walls=walls, places=(PlanPlace(1, "n", (4, 3)), PlanPlace(2, "s", (4, 1))))
    root = read(storey_plan(storey, english))
    lengths = [
        math.hypot(number(w, "x2") - number(w, "x1"), number(w, "y2") - number(w, "y1")) for w in of_class(root, "wall")
    ]
    assert lengths[0] / lengths[1] == pytest.approx(2.0, rel=1e-3)
    north, south = of_class(root, "place")
    assert number(north, "cy") < number(south, "cy")
    bars = [e for e in root.iter(f"{NAMESPACE}text") if re.fullmatch(r"\d+\u00a0m", e.text or "")]
    metres = float((bars[0].text or "").split("\u00a0")[0])
    line = max(
        (e for e in root.iter(f"{NAMESPACE}line") if e.get("class") is None and number(e, "y1") == number(e, "y2")),
        key=lambda e: number(e, "x2") - number(e, "x1"),
    )
    assert (number(line, "x2") - number(line, "x1")) / metres == pytest.approx(lengths[0] / 8, rel=1e-3)
    assert frame(storey).points_per_m == pytest.approx(lengths[0] / 8, rel=1e-3)


def test_far_emitter_points_from_its_bearing(sample: ModuleType, english: Words) -> None:
    storey = sample.plan()
    east = replace(storey.emitters[2], bearing_deg=90.0)
    root = read(storey_plan(replace(storey, emitters=(east,)), english))
    letter = next(e for e in root.iter(f"{NAMESPACE}text") if e.text == "C")
    assert number(letter, "x") > 0.9 * style.WIDTH


def cone(step: float = 5.0) -> LevelGrid:
    """Levels that fall with the distance from the middle: contour lines are circles."""
    xs = tuple(0.1 * i for i in range(81))
    levels = tuple(tuple(40 - 10 * math.hypot(x - 4, y - 4) for x in xs) for y in xs)
    outline = ((0.0, 0.0), (8.0, 0.0), (8.0, 8.0), (0.0, 8.0))
    return LevelGrid(PlanStorey("S", outline), xs, xs, levels, step_db=step)


def test_contour_lines_of_a_cone_are_circles_of_the_right_radius(english: Words) -> None:
    grid = cone(10.0)
    place = frame(grid.storey, width=style.WIDTH - 44)
    centre = place.at((4.0, 4.0))
    radii = {}
    for line in of_class(read(level_map(grid, english)), "contour"):
        points = [tuple(float(v) for v in p.split()) for p in re.split("[ML]", (line.get("d") or "").strip("Z"))[1:]]
        distances = [math.dist(centre, p) / place.points_per_m for p in points]
        if max(distances) < 3.9:
            assert max(distances) - min(distances) < 0.02
            radii[round(sum(distances) / len(distances), 1)] = len(points)
    assert set(radii) == {1.0, 2.0, 3.0}


def test_contours_are_labelled_in_the_unit_of_the_tables(english: Words) -> None:
    texts = {e.text for e in of_class(read(level_map(cone(10.0), english)), "contour-label")}
    assert texts <= {"1000", "100", "10", "1.0", "0.10"}, "10 dB over 1 µW/m² are 10 µW/m²"
    assert {"100", "10"} <= texts
    assert contour_levels(cone(10.0)) == [-10, 0, 10, 20, 30]
    assert level_span(cone(10.0)) == (-20, 40)


def test_map_outside_the_dwelling_is_left_white_and_uncertain_parts_are_hatched(english: Words) -> None:
    grid = cone()
    levels = tuple(tuple(math.nan if x > 4 else v for x, v in zip(grid.x_m, row, strict=True)) for row in grid.level_db)
    stds = tuple(tuple(9.0 if y > 4 else 2.0 for _ in grid.x_m) for y in grid.y_m)
    root = read(level_map(replace(grid, level_db=levels, std_db=stds), english))
    place = frame(grid.storey, width=style.WIDTH - 44)
    edge = place.at((4.0, 0.0))[0]
    for band in of_class(root, "band"):
        xs = [float(v) for v in re.findall(r"[ML]([\d.]+) ", band.get("d") or "")]
        assert max(xs) <= edge + 0.1
    hatched = of_class(root, "uncertain")
    assert len(hatched) == 1
    assert (hatched[0].get("fill") or "").startswith("url(#hatch-")
    assert not of_class(read(level_map(grid, english)), "uncertain")


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.published("W3C WCAG 2.1, 1.4.3 Contrast (Minimum): at least 4.5 to 1 for text")
@pytest.mark.parametrize("colour", [style.INK, style.SOFT, style.ACCENT])
def test_text_colours_have_enough_contrast(colour: str) -> None:
    assert contrast(colour, style.PAPER) >= 4.5


def oklab(colour: str) -> tuple[float, float, float]:
    r, g, b = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    )
    lms = [
        0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b,
        0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b,
        0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b,
    ]
    l_, m_, s_ = (v ** (1 / 3) for v in lms)
    return (
        0.2104542553 * l_ + 0.7936177850 * m_ - 0.0040720468 * s_,
        1.9779984951 * l_ - 2.4285922050 * m_ + 0.4505937099 * s_,
        0.0259040371 * l_ + 0.7827717662 * m_ - 0.8086757660 * s_,
    )


@pytest.mark.published("B. Ottosson, A perceptual color space for image processing (2020): sRGB to OKLab")
def test_scale_is_even_in_lightness_and_of_one_hue() -> None:
    steps = [oklab(style.shade(n / 20)) for n in range(21)]
    drops = [a[0] - b[0] for a, b in itertools.pairwise(steps)]
    assert min(drops) > 0.02
    assert max(drops) - min(drops) < 0.012
    hues = [math.degrees(math.atan2(b, a)) % 360 for _, a, b in steps if math.hypot(a, b) > 0.02]
    assert len(hues) >= 15
    assert max(hues) - min(hues) < 12
    colours = [style.level_colour(db) for db in (-20.0, 0.0, 20.0, 40.0, 60.0)]
    assert colours == sorted(set(colours), key=luminance)[::-1]


def test_contribution_that_includes_zero_starts_at_the_zero_edge(english: Words) -> None:
    bars = [ContributionBar("P", "A", 5e-6, -2e-6, 20e-6), ContributionBar("P", "B", 5e-6, 2e-6, 20e-6)]
    root = read(contribution_bars(bars, english))
    edge = number(of_class(root, "zero")[0], "x1")
    first, second = of_class(root, "interval")
    assert number(first, "x") == pytest.approx(edge)
    assert number(second, "x") > edge + 5


def test_negative_contribution_is_drawn_at_zero_and_its_number_is_kept(english: Words) -> None:
    root = read(contribution_bars([ContributionBar("P", "A", -5e-6, -20e-6, 3e-6)], english))
    edge = number(of_class(root, "zero")[0], "x1")
    assert number(of_class(root, "median")[0], "x1") == edge
    assert any(e.text == "−5.0" for e in root.iter(f"{NAMESPACE}text"))


def test_budget_bars_are_as_long_as_their_numbers(english: Words) -> None:
    lines = (BudgetLine("a", 3.0, True), BudgetLine("b", 1.5, False))
    root = read(budget_bars(Budget(lines, 3.35, -6.6, 6.6), english))
    shared, independent = of_class(root, "shared")[0], of_class(root, "independent")[0]
    assert number(shared, "width") / number(independent, "width") == pytest.approx(2.0, rel=1e-2)
    assert shared.get("fill") != independent.get("fill")


def test_control_chart_fills_only_flagged_points(english: Words) -> None:
    checks = tuple(CheckEntry(f"2026-0{n}-01", float(n), flagged=n > 3) for n in range(1, 6))
    root = read(control_chart(ControlChart(checks, 0.0, 2.0, 3.0), english))
    assert len(of_class(root, "flagged")) == 2
    assert len(of_class(root, "check")) == 3
    heights = [number(e, "cy") for e in root.iter(f"{NAMESPACE}circle")]
    assert heights == sorted(heights, reverse=True)


def test_before_and_after_pairs(sample: ModuleType, english: Words) -> None:
    pair = PairBar("P", sample.spread(100), sample.spread(10), 10.0, 8.0, 12.0, sample.spread(7))
    root = read(before_after([pair], english, target_w_m2=20e-6))
    before, after = of_class(root, "before")[0], of_class(root, "after")[0]
    assert number(before, "x") > number(after, "x")
    assert number(before, "width") == pytest.approx(number(after, "width"), abs=0.02)
    assert of_class(root, "predicted")
    assert any(e.text == "10\u00a0dB" for e in root.iter(f"{NAMESPACE}text"))


def test_gaps_in_a_series_stay_open(english: Words) -> None:
    nan = math.nan
    series = Timeline("2026-01-01", (0, 60, 120, 180, 240), *((1e-6, 1e-6, nan, 1e-6, 1e-6),) * 3)
    assert runs(series) == [(0, 2), (3, 5)]
    root = read(timeline(series, english))
    assert len(of_class(root, "band")) == 2


def test_series_of_one_bin_and_of_nothing(english: Words) -> None:
    for count in (0, 1):
        series = Timeline("2026-01-01", (0.0,) * count, (1e-6,) * count, (1e-6,) * count, (1e-6,) * count)
        assert read(timeline(series, english)).get("role") == "img"


def test_day_profile_has_a_bar_for_every_bin(english: Words) -> None:
    hours = tuple(h + 0.5 for h in range(24))
    profile = DayProfile(hours, (2e-6,) * 24, (1e-6,) * 24, (4e-6,) * 24)
    root = read(day_profile(profile, english))
    assert len(of_class(root, "interval")) == 24


def test_spectrum_marks_the_periodicities(sample: ModuleType, words: Words) -> None:
    root = read(envelope_spectrum(sample.recording().spectrum, words))
    lines = of_class(root, "periodicity")
    assert len(lines) == 2
    octave = number(lines[1], "x1") - number(lines[0], "x1")
    ticks = [e for e in root.iter(f"{NAMESPACE}text") if e.text in {"10", "100"}]
    decade = number(ticks[1], "x") - number(ticks[0], "x")
    assert octave / decade == pytest.approx(math.log10(2), abs=1e-3)


def test_folded_profile_without_interval(english: Words) -> None:
    root = read(folded_profile(FoldedProfile(0.01, (0.0, 0.5, 1.0), (0.1, 1.0, 0.1)), english))
    assert len(of_class(root, "mean")) == 1
    assert not of_class(root, "interval")


@given(st.lists(st.tuples(st.floats(0, 9999), st.floats(0, 1)), min_size=1, max_size=8))
def test_trade_off_curve_never_falls(pairs: list[tuple[float, float]]) -> None:
    from roomfield.show.words import load_words

    points = [TradeOffPoint(cost, p) for cost, p in pairs]
    root = read(trade_off(points, load_words("en"), currency="EUR", confidence=0.9))
    curve = of_class(root, "curve")[0]
    ys = [float(p.split()[1]) for p in re.split("[ML]", curve.get("d") or "")[1:]]
    assert all(b <= a + 0.011 for a, b in itertools.pairwise(ys))
    assert len(of_class(root, "plan")) == len(points)


@pytest.mark.parametrize("width", [20.0, 60.0, 200.0])
def test_fitted_text_fits(width: float) -> None:
    for text in ("Donaudampfschifffahrt", "WWWWWWWWWWWW", "i" * 90, "漢字漢字漢字漢字漢字", ""):
        assert text_width(fitted(text, width, 8.0), 8.0) <= width


def test_estimated_text_width_is_near_the_font(font_widths: Callable[[str], float]) -> None:
    for text in ("Parents' bed, head end", "Kinderzimmer am Fenster", "Bedroom 12", "µW/m², logarithmic"):
        assert text_width(text, 1.0) == pytest.approx(font_widths(text), rel=0.15)


@pytest.mark.calculated("arithmetic: on a logarithmic axis a factor of ten is the same distance everywhere")
def test_lowest_levels_stand_on_a_logarithmic_axis_with_the_target(words: Words) -> None:
    root = read(lowest_levels(LOWEST, words, currency="EUR", target_w_m2=1e-4))
    (asked,) = of_class(root, "asked")
    target = float((asked.get("d") or "").split()[-1]) if asked.get("d") else float(asked.get("y1") or "nan")
    (chosen,) = of_class(root, "chosen")
    first = of_class(root, "plan")[0]
    ys = [float(dot.get("cy") or "nan") for dot in (first, chosen)]
    assert target - ys[1] == pytest.approx(ys[1] - ys[0], abs=0.1)
    assert len(of_class(root, "plan")) == 2


def test_a_part_of_which_only_the_least_is_known_leaves_the_other_bars_as_they_are(english: Words) -> None:
    """One overload row made every other bar a point, for an infinite end set the scale."""
    bars = [ContributionBar("Bed", "Router", 1e-3, 4e-4, 3e-3), ContributionBar("Bed", "Base", 0.2, 0.2, math.inf)]
    root = read(contribution_bars(bars, english))
    (bar,) = of_class(root, "interval")
    assert number(bar, "width") > 20.0
    assert any((e.text or "").startswith("> 200") for e in root.iter(f"{NAMESPACE}text"))
