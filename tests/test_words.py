"""How numbers and names are written: true minus, no-break space, never too fine."""

import re
from datetime import date

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sitekit import words
from sitekit.words import MINUS, NO_BREAK, NOT_KNOWN

figures = st.floats(-1e6, 1e6)
not_finite = pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), -float("inf")]
)
WRITERS = {
    "number": words.number,
    "offset": words.offset,
    "area": words.area,
    "cell": words.cell,
    "percent": words.percent,
    "hours": words.hours,
    "day": words.day,
    "with_unit": lambda value: words.with_unit(value, "m", 1),
}


def read_back(text):
    """Read the number out of a text, as a person does."""
    return float(text.split(NO_BREAK)[0].replace(MINUS, "-").replace("±", ""))


@given(figures, st.integers(0, 4))
def test_no_number_is_written_with_a_hyphen(value, digits):
    for text in (
        words.number(value, digits),
        words.with_unit(value, "m", digits),
        words.offset(value),
        words.hours(value),
        words.percent(value),
        words.cell(value),
        words.area(value),
    ):
        assert "-" not in text
        assert "e" not in text.split(NO_BREAK)[0]


@given(figures, st.integers(0, 4))
def test_a_number_reads_back_to_within_half_of_its_last_digit(value, digits):
    text = words.number(value, digits)
    assert read_back(text) == pytest.approx(value, abs=0.5 * 10**-digits + 1e-9)


@given(figures, st.integers(0, 4))
def test_a_number_has_the_digits_asked_for_and_no_more(value, digits):
    decimals = words.number(value, digits).partition(".")[2]
    assert len(decimals) == digits


@given(st.floats(-0.049, 0.049))
def test_nought_never_has_a_sign(value):
    assert words.number(value, 1) == "0.0"
    assert words.number(value) == "0"


@not_finite
@pytest.mark.parametrize("writer", sorted(WRITERS))
def test_what_is_not_known_is_said_in_words_without_a_unit(writer, value):
    assert WRITERS[writer](value) == NOT_KNOWN


@given(figures)
def test_a_unit_stands_behind_a_space_that_does_not_break(value):
    text = words.with_unit(value, "m")
    assert text.endswith(f"{NO_BREAK}m")
    assert " " not in text


@given(st.floats(-40, 40))
def test_an_offset_is_never_finer_than_half_a_degree(value):
    text = words.offset(value)
    assert (2 * read_back(text)) % 1 == 0
    assert abs(read_back(text) - value) <= 0.25


@given(st.floats(-40, 40))
def test_an_offset_always_has_a_sign(value):
    text = words.offset(value)
    assert text[0] in f"+{MINUS}±"
    assert text.endswith(f"{NO_BREAK}°C")
    if abs(value) > 0.25:
        assert text[0] == ("+" if value > 0 else MINUS)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "±0"),
        (-0.0, "±0"),
        (0.2499, "±0"),
        (-0.2499, "±0"),
        (0.26, "+0.5"),
        (-0.26, f"{MINUS}0.5"),
        (-2.0, f"{MINUS}2"),
        (-1.74, f"{MINUS}1.5"),
        (-1.76, f"{MINUS}2"),
        (3.5, "+3.5"),
    ],
)
def test_an_offset_in_full(value, text):
    assert words.offset(value) == f"{text}{NO_BREAK}°C"


@given(st.floats(-40, 40).filter(lambda v: abs(v) >= 0.25))
def test_an_offset_that_is_told_at_all_is_not_told_as_nought(value):
    assume(abs(value) > 0.25)
    assert read_back(words.offset(value)) != 0


@pytest.mark.parametrize(
    ("square_metres", "text"),
    [
        (0.0, f"0{NO_BREAK}m²"),
        (7.2, f"7{NO_BREAK}m²"),
        (443.0, f"440{NO_BREAK}m²"),
        (949.0, f"950{NO_BREAK}m²"),
        (950.0, f"0.1{NO_BREAK}ha"),
        (8_262.0, f"0.8{NO_BREAK}ha"),
        (10_000.0, f"1.0{NO_BREAK}ha"),
        (123_456.0, f"12.3{NO_BREAK}ha"),
    ],
)
def test_an_area_in_hectares_and_small_ones_in_square_metres(square_metres, text):
    assert words.area(square_metres) == text


@given(st.floats(0, 949))
def test_a_small_area_has_at_most_two_figures_that_count(square_metres):
    number = words.area(square_metres).split(NO_BREAK)[0]
    assert len(number.rstrip("0")) <= 2


@given(st.floats(950, 1e8))
def test_an_area_in_hectares_is_never_told_as_nothing(square_metres):
    text = words.area(square_metres)
    assert re.fullmatch(rf"\d+\.\d{NO_BREAK}ha", text)
    assert read_back(text) > 0


@pytest.mark.parametrize(
    ("size", "text"), [(1.0, "1.0"), (1.5, "1.5"), (2.0, "2"), (92.6, "93")]
)
def test_the_side_of_a_cell(size, text):
    assert words.cell(size) == f"{text}{NO_BREAK}m"


@pytest.mark.parametrize(
    ("tangent", "text"),
    [(0.08, "8"), (0.0049, "0"), (1.0, "100"), (-0.05, f"{MINUS}5")],
)
def test_a_slope_in_whole_per_cent(tangent, text):
    assert words.percent(tangent) == f"{text}{NO_BREAK}%"


@given(st.floats(0, 24))
def test_hours_are_told_to_half_an_hour(value):
    read = read_back(words.hours(value))
    assert (2 * read) % 1 == 0
    assert abs(read - value) <= 0.25


@pytest.mark.parametrize(("value", "text"), [(6.0, "6"), (6.43, "6.5"), (0.1, "0")])
def test_whole_hours_have_no_decimal(value, text):
    assert words.hours(value) == f"{text}{NO_BREAK}h"


@given(st.dates(date(2001, 1, 1), date(2001, 12, 31)))
def test_a_day_of_the_year_is_told_as_its_date(when):
    assert words.day(when.timetuple().tm_yday) == f"{when.day} {when:%B}"


def test_a_day_is_whole_and_knows_leap_years():
    assert words.day(131.6) == "12 May"
    assert words.day(60) == "1 March"
    assert words.day(60, 2024) == "29 February"


@pytest.mark.parametrize(
    ("aspect", "name"),
    [
        (0, "north"),
        (22, "north"),
        (23, "north-east"),
        (90, "east"),
        (135, "south-east"),
        (180, "south"),
        (225, "south-west"),
        (270, "west"),
        (315, "north-west"),
        (337, "north-west"),
        (338, "north"),
        (360, "north"),
    ],
)
def test_a_facing_is_the_nearest_of_eight_directions(aspect, name):
    assert words.facing(float(aspect)) == name


@given(st.floats(0, 360))
def test_the_opposite_slope_faces_the_opposite_way(aspect):
    # At the border of two directions rounding may choose either.
    assume(abs((aspect / 45) % 1 - 0.5) > 1e-6)
    turned = {"north": "south", "east": "west", "south": "north", "west": "east"}
    opposite = "-".join(turned[part] for part in words.facing(aspect).split("-"))
    assert words.facing(aspect + 180) == opposite


def test_level_ground_faces_nowhere():
    assert words.facing(float("nan")) == "level"


@pytest.mark.parametrize(
    ("limits", "texts"),
    [
        (words.WETNESS_LIMITS, words.WETNESS_WORDS),
        (words.WIND_LIMITS, words.WIND_WORDS),
    ],
)
def test_a_word_begins_at_its_limit_and_each_grade_has_one(limits, texts):
    assert len(texts) == len(limits) + 1
    assert words.graded(limits[0] - 1e-9, limits, texts) == texts[0]
    for limit, text in zip(limits, texts[1:], strict=True):
        assert words.graded(limit, limits, texts) == text
    assert words.graded(float("nan"), limits, texts) == NOT_KNOWN


@given(st.floats(0, 20), st.floats(0, 20))
def test_wetter_ground_never_has_a_drier_word(one, other):
    low, high = sorted((one, other))
    grade = [
        words.WETNESS_WORDS.index(
            words.graded(v, words.WETNESS_LIMITS, words.WETNESS_WORDS)
        )
        for v in (low, high)
    ]
    assert grade[0] <= grade[1]


@pytest.mark.parametrize(
    ("names", "text"),
    [
        ([], ""),
        (["pear"], "pear"),
        (["pear", "plum"], "pear and plum"),
        (["pear", "plum", "apple"], "pear, plum and apple"),
    ],
)
def test_names_are_joined_as_a_sentence_does(names, text):
    assert words.listed(names) == text


@pytest.mark.parametrize(
    ("fruit", "one", "many"),
    [
        ("apple", "apple", "apples"),
        ("sour_cherry", "sour cherry", "sour cherries"),
        ("blackcurrant", "blackcurrant", "blackcurrants"),
    ],
)
def test_a_fruit_in_the_singular_and_the_plural(fruit, one, many):
    assert words.fruit_name(fruit) == one
    assert words.fruit_name(fruit, plural=True) == many


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", ""),
        ("   ", ""),
        ("no cold air", "No cold air."),
        ("is the soil packed?", "Is the soil packed?"),
        (" Done. ", "Done."),
        ("pH is low", "PH is low."),
        ("block 1, McBank", "Block 1, McBank."),
    ],
)
def test_a_sentence_begins_large_and_ends_with_a_stop(text, told):
    assert words.sentence(text) == told


@given(st.text(max_size=40))
def test_making_a_sentence_of_a_sentence_changes_nothing(text):
    once = words.sentence(text)
    assert words.sentence(once) == once


def test_classes_are_named_from_the_worst_to_the_best():
    # The codes stand in the files: 0 refused to 4 good.
    assert words.SITE_CLASSES == (
        "refused",
        "test first",
        "hardy kinds only",
        "with conditions",
        "good",
    )
    named = (
        words.REFUSED,
        words.TEST_FIRST,
        words.HARDY,
        words.CONDITIONS,
        words.GOOD,
    )
    assert named == (0, 1, 2, 3, 4)
