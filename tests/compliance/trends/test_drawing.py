"""The pictures of counts: whole in any case, and saying in words what they show."""

import re
from collections.abc import Iterator
from datetime import date
from math import inf, isfinite, nan
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.trends.drawing import (
    MONTHS,
    Mark,
    Point,
    place_chart,
    small_chart,
)
from compliance.trends.exposure import Month, numbered
from compliance.trends.judge import STATES

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
FIRST = 2024 * 12 + 10
"""November 2024."""

figures = st.none() | st.floats(allow_nan=True, allow_infinity=True) | st.floats(0, 40)
months = st.integers(2020 * 12, 2025 * 12).map(numbered)
any_point = st.builds(
    Point,
    month=months,
    count=st.integers(0, 10**6),
    trap_days=st.floats(0, 4000) | st.just(nan),
    per_100=figures,
    centre=figures,
    limit=figures,
    state=st.sampled_from(STATES),
    at_least=st.booleans(),
    allows=figures,
)
any_mark = st.builds(
    Mark,
    on=st.dates(date(2019, 1, 1), date(2026, 1, 1)),
    kind=st.sampled_from(["treatment", "proofing", "review"]),
    words=st.text(max_size=60),
)


def point(place: int, rate: float | None, **fields: object) -> Point:
    values: dict[str, object] = {
        "month": numbered(FIRST + place),
        "count": round((rate or 0) * 3),
        "trap_days": 300.0 if rate is not None else 0.0,
        "per_100": rate,
        "centre": 1.2,
        "limit": 4.5,
        "state": "calm" if rate is not None else "not_read",
        "at_least": False,
    }
    return Point(**{**values, **fields})  # type: ignore[arg-type]


def drawn(points: list[Point], marks: list[Mark] | None = None) -> ElementTree.Element:
    picture = place_chart(points, marks or [], title="German cockroach, kitchen", name="one")
    return ElementTree.fromstring(picture)


def words(picture: ElementTree.Element) -> list[str]:
    return [element.text or "" for element in picture.iter(f"{SVG}text")]


def said(picture: ElementTree.Element) -> str:
    return picture.findtext(f"{SVG}desc") or ""


def numbers(picture: ElementTree.Element) -> Iterator[float]:
    for element in picture.iter():
        for name, value in element.attrib.items():
            if name in {"x", "y", "d", "cx", "cy", "r", "width", "height", "points"}:
                yield from map(float, NUMBER.findall(value))


@settings(max_examples=150, deadline=None)
@given(
    points=st.lists(any_point, min_size=1, max_size=60),
    marks=st.lists(any_mark, max_size=30),
    title=st.text(max_size=40),
)
def test_any_months_give_a_whole_picture(
    points: list[Point], marks: list[Mark], title: str
) -> None:
    for picture in (
        place_chart(points, marks, title=title, name="a"),
        small_chart(points, title=title, name="a"),
    ):
        root = ElementTree.fromstring(picture)
        assert "nan" not in picture.lower().split("<desc")[0]
        for element in root.iter():
            for name, value in element.attrib.items():
                assert name != "style"
                assert "nan" not in value.lower()
                assert "inf" not in value.lower()
        found = list(numbers(root))
        assert all(isfinite(number) and abs(number) < 1000 for number in found)
        assert root.find(f"{SVG}title") is not None
        assert said(root).endswith(".")


@given(name=st.from_regex(r"[a-z][a-z0-9-]{0,12}", fullmatch=True))
def test_ids_begin_with_the_name_and_are_named_by_the_picture(name: str) -> None:
    for picture in (
        place_chart([point(0, 1.0)], [], title="One", name=name),
        small_chart([point(0, 1.0)], title="One", name=name),
    ):
        root = ElementTree.fromstring(picture)
        ids = [element.get("id") for element in root.iter() if element.get("id")]
        assert ids == [f"{name}-title", f"{name}-desc"]
        assert root.get("aria-labelledby") == " ".join(ids)


def test_no_month_is_no_picture() -> None:
    with pytest.raises(ValueError, match="no month"):
        place_chart([], [], title="None", name="none")
    with pytest.raises(ValueError, match="no month"):
        small_chart([], title="None", name="none")


def test_a_gap_is_said_and_not_joined() -> None:
    whole = drawn([point(place, 1.0) for place in range(5)])
    broken = drawn([point(0, 1.0), point(1, 1.0), point(4, 1.0)])
    assert "not read" not in words(whole)
    assert "not read" in words(broken)
    assert "Nobody could look from January 2025 to February 2025." in said(broken)

    def joints(picture: ElementTree.Element) -> int:
        return max(
            len(re.findall("M", element.get("d", "")))
            for element in picture.iter(f"{SVG}path")
            if element.get("stroke-width") == "1.3"
        )

    assert joints(whole) == 4
    assert joints(broken) == 1


def test_an_alarm_is_a_shape_and_words() -> None:
    calm = drawn([point(place, 1.0) for place in range(6)])
    alarm = drawn(
        [point(place, 1.0) for place in range(5)] + [point(5, 6.0, state="alarm")],
    )
    assert "more than usual: 6" in words(alarm)
    assert "More than usual in April 2025 (6)." in said(alarm)
    assert "No month was more than usual." in said(calm)
    dots = len(list(calm.iter(f"{SVG}circle")))
    assert len(list(alarm.iter(f"{SVG}circle"))) == dots - 1


def test_each_of_many_alarms_in_a_row_has_its_shape_and_they_share_their_words() -> None:
    picture = drawn([point(place, 6.0 + place % 2, state="alarm") for place in range(36)])
    assert sum("more than usual" in one for one in words(picture)) == 1
    assert said(picture).count("(6)") == 18


def test_a_full_trap_is_at_least_so_many() -> None:
    picture = drawn([point(0, 1.0), point(1, 3.0, at_least=True), point(2, 1.0)])
    assert "at least 3" in words(picture)
    assert "A trap was full, so that there were at least so many, in December 2024." in said(
        picture
    )


def test_what_is_not_yet_known_is_open_and_says_so() -> None:
    unknown = [
        point(place, 1.0, state="not_yet_known", centre=None, limit=None) for place in range(6)
    ]
    picture = drawn([*unknown, point(6, 1.0)])
    open_dots = [one for one in picture.iter(f"{SVG}circle") if one.get("fill") is None]
    assert len(open_dots) == 6
    assert any(one.startswith("not yet known") for one in words(picture))
    assert "It was not yet known what is usual from November 2024 to April 2025." in said(picture)


def test_lines_are_named_at_their_ends() -> None:
    found = words(drawn([point(place, 1.0) for place in range(3)]))
    assert {"usual 1.2", "alarm from 4.5", "Jan: 1"} <= set(found)


def test_one_huge_month_leaves_the_others_readable() -> None:
    points = [point(place, 1.0 + place % 3) for place in range(24)]
    points[12] = point(12, 400.0, state="alarm")
    picture = drawn(points)
    assert "more than usual: 400" in words(picture)
    heights = {
        float(one.get("cy", "0"))
        for one in picture.iter(f"{SVG}circle")
        if one.get("fill") == "currentColor"
    }
    assert max(heights) - min(heights) > 30


def test_a_count_of_none_says_what_it_still_allows() -> None:
    points = [point(place, 0.0, allows=0.97, centre=0.0, limit=1.3) for place in range(14)]
    picture = drawn(points)
    assert "0 allows 0.97" in words(picture)
    assert "None was caught in 4,200 trap-days." in said(picture)
    assert "Its count still allows a rate of up to 0.97." in said(picture)


def test_months_in_which_nobody_looked_at_all() -> None:
    picture = drawn([point(place, None) for place in range(4)])
    assert "Nobody could look in any of these months." in said(picture)
    assert "not read" in words(picture)


def test_only_the_last_four_years_are_drawn() -> None:
    picture = drawn([point(place, 1.0) for place in range(60)])
    assert said(picture).startswith("Individuals per 100 trap-days, November 2025 to October 2029.")


def test_marks_of_a_month_are_gathered_and_all_are_said() -> None:
    points = [point(place, 1.0) for place in range(12)]
    marks = [
        Mark(date(2025, 3, 2), "treatment", "gel bait"),
        Mark(date(2025, 3, 20), "treatment", "dust"),
        Mark(date(2025, 3, 21), "proofing", "door sweep"),
        Mark(date(2031, 3, 21), "review", "not of these months"),
    ]
    picture = drawn(points, marks)
    assert {"gel bait, dust", "treated", "door sweep", "proofed"} <= set(words(picture))
    assert "reviewed" not in words(picture)
    assert "2 March 2025: treatment, gel bait. 20 March 2025: treatment, dust." in said(picture)


def box_of(text: ElementTree.Element) -> tuple[float, float, float, float]:
    """About where words lie, in a face rather narrower than wide."""
    size = float(text.get("font-size", "13"))
    width = len(text.text or "") * size * 0.5
    x, y = float(text.get("x", "0")), float(text.get("y", "0"))
    left = {"start": x, "middle": x - width / 2, "end": x - width}[text.get("text-anchor", "start")]
    return left, y - size * 0.7, left + width, y


def overlap(
    one: tuple[float, float, float, float], other: tuple[float, float, float, float]
) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


common_months = st.lists(
    st.tuples(
        st.floats(0, 12),
        st.sampled_from(["calm", "calm", "calm", "alarm", "not_yet_known"]),
        st.sampled_from([False, False, False, True]),
    ),
    min_size=1,
    max_size=48,
)


@settings(max_examples=150, deadline=None)
@given(
    rows=common_months,
    marks=st.lists(
        st.builds(
            Mark,
            on=st.dates(date(2025, 1, 1), date(2025, 12, 31)),
            kind=st.sampled_from(["treatment", "proofing", "review"]),
            words=st.sampled_from(["gel bait", "door sweep, pipe sealed", "third quarter"]),
        ),
        max_size=8,
    ),
)
def test_words_lie_on_no_point_and_on_no_other_words(
    rows: list[tuple[float, str, bool]], marks: list[Mark]
) -> None:
    points = [
        point(place, rate, state=state, at_least=full)
        for place, (rate, state, full) in enumerate(rows)
    ]
    picture = drawn(points, marks)
    texts = [one for one in picture.iter(f"{SVG}text") if one.get("transform") is None]
    boxes = [box_of(one) for one in texts]
    width = float((picture.get("viewBox") or "").split()[2])
    assert all(one[0] >= 0 and one[2] <= width for one in boxes)
    for place, one in enumerate(boxes):
        for other, text in zip(boxes[place + 1 :], texts[place + 1 :], strict=True):
            assert not overlap(one, other), (texts[place].text, text.text)
    for circle in picture.iter(f"{SVG}circle"):
        x, y = float(circle.get("cx", "0")), float(circle.get("cy", "0"))
        for one, text in zip(boxes, texts, strict=True):
            assert not overlap(one, (x - 2, y - 2, x + 2, y + 2)), text.text


@pytest.mark.parametrize("count", [1, 2, 7, 12, 13, 24, 36, 48])
def test_any_length_names_its_months(count: int) -> None:
    found = words(drawn([point(place, 1.0) for place in range(count)]))
    names = {month[:3] for month in MONTHS}
    assert any(one in names for one in found)
    assert any(one.startswith("20") for one in found)


def test_small_pictures_speak_the_same_language() -> None:
    months: list[Month] = [numbered(FIRST + place) for place in range(3)]
    points = [point(place, 1.0) for place in range(2)] + [
        point(2, 9.0, state="alarm", at_least=True)
    ]
    small = ElementTree.fromstring(small_chart(points, title="Kitchen", name="k"))
    assert said(small) == said(drawn(points))
    assert "≥ 9" in words(small)
    assert f"Nov {months[0][0]}" in words(small)


def test_figures_that_are_none_are_left_out() -> None:
    picture = drawn([point(0, 1.0, centre=nan, limit=inf, allows=-1.0)])
    assert not any(one.startswith(("usual", "alarm")) for one in words(picture))
