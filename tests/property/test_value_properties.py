"""Any date, number or time written in any of the usual ways comes back; nothing else is read as one.

The other side of each check is plain Python: ``datetime.strftime``, ``decimal.Decimal`` and ``format``.
"""

import datetime as dt
import math
import re
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from macro_engine import macro_engine, read_all

few = settings(
    max_examples=12, derandomize=True, deadline=None, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    with macro_engine(tmp_path_factory.mktemp("engine")) as database:
        yield database


def expect(engine, macro, pairs):
    """Each text must be read as the value beside it."""
    written = [text for text, _ in pairs]
    found = read_all(engine, macro, written)
    wrong = [(text, value, got) for (text, value), got in zip(pairs, found, strict=True) if got != value]
    assert not wrong, f"{macro}: (written, meant, read) {wrong[:5]}"


DAY_STYLES = {
    "iso": ["%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%a %Y-%m-%d", "%B %d, %Y", "%b %d %Y", "%b. %d, %Y",
    "%d %B %Y",
            "%d %b %Y", "%d-%b-%Y", "%d%b%Y", "%A, %B %d, %Y", "%a, %d %b %Y", "%Y %b %d", "%Y-%m-%d (%a)", "%d-%b-%y"],
    "mdy": ["%m/%d/%Y", "%m-%d-%Y", "%m.%d.%Y", "%m/%d/%y", "%a %m/%d/%Y", "%A, %m/%d/%y", "%m / %d / %Y"],
    "dmy": ["%d/%m/%Y", "%d-%m-%Y", "%d.%m.%Y", "%d/%m/%y", "%a %d.%m.%Y", "%d. %m. %Y"],
}  # fmt: skip
CLOCK_STYLES = ["%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M%p", "%I:%M:%S %p", "%H.%M", "%H%M"]
FULL_SECONDS = [style for style in CLOCK_STYLES if "%S" in style]

moments = st.lists(
    st.datetimes(min_value=dt.datetime(2000, 1, 1), max_value=dt.datetime(2099, 12, 31, 23, 59, 59)).map(
        lambda moment: moment.replace(microsecond=0)
    ),
    min_size=30, max_size=30,
)  # fmt: skip


def bare(text):
    """Return a text without the zeros in front of its numbers of one digit, as people write by hand."""
    return re.sub(r"(?<![\d.:])0(\d)(?!\d)", r"\1", text)


@pytest.mark.parametrize("order", ["iso", "mdy", "dmy"])
@few
@given(days=moments)
def test_any_day_in_any_style_comes_back(engine, order, days):
    styles = DAY_STYLES["iso"] + (DAY_STYLES[order] if order != "iso" else [])
    pairs = []
    for day in days:
        midnight = dt.datetime.combine(day, dt.time())
        pairs += [(day.strftime(style), midnight) for style in styles]
        pairs += [(bare(day.strftime(style)), midnight) for style in styles if "%y" not in style]
    expect(engine, f"read_datetime_{order}", pairs)


@pytest.mark.parametrize("order", ["iso", "mdy", "dmy"])
@few
@given(instants=moments)
def test_any_moment_in_any_style_comes_back(engine, order, instants):
    day_styles = DAY_STYLES["iso"][:12] + (DAY_STYLES[order][:4] if order != "iso" else [])
    pairs = []
    for i, moment in enumerate(instants):
        for j, clock in enumerate(CLOCK_STYLES):
            style = f"{day_styles[(i + j) % len(day_styles)]} {clock}"
            pairs.append((moment.strftime(style), moment if clock in FULL_SECONDS else moment.replace(second=0)))
    pairs += [(bare(text.lower()), moment) for text, moment in pairs if not re.search(r"\d{8}|\d[A-Z]|/\d\d ", text)]
    pairs += [
        (moment.isoformat() + zone, moment) for moment in instants for zone in ("", "Z", "+02:00", "-0500", "-08")
    ]
    expect(engine, f"read_datetime_{order}", pairs)


@few
@given(days=moments)
def test_a_slashed_date_of_the_other_order_is_refused_or_another_day_never_the_same(engine, days):
    days = [day for day in days if day.day != day.month]
    found = read_all(engine, "read_datetime_dmy", [day.strftime("%m/%d/%Y") for day in days])
    for day, got in zip(days, found, strict=True):
        swapped = None if day.day > 12 else dt.datetime(day.year, day.day, day.month)
        assert got == swapped


@few
@given(instants=moments)
def test_a_spreadsheets_serial_number_comes_back_to_the_second(engine, instants):
    # ECMA-376 part 1, 18.17.4.1: days since 30 December 1899 from March 1900 on; a cell keeps fifteen digits
    epoch = dt.datetime(1899, 12, 30)
    serials = [f"{(moment - epoch) / dt.timedelta(days=1):.10f}" for moment in instants]
    pairs = list(zip(serials, instants, strict=True))
    expect(engine, "read_datetime_mdy", pairs + [(text.replace(".", ","), moment) for text, moment in pairs])


@few
@given(instants=moments)
def test_any_time_of_day_comes_back(engine, instants):
    pairs = []
    for moment in instants:
        seconds = moment.hour * 3600 + moment.minute * 60
        for style in CLOCK_STYLES:
            exact = seconds + (moment.second if style in FULL_SECONDS else 0)
            pairs.append((moment.strftime(style), dt.timedelta(seconds=exact)))
            if style != "%H.%M":  # "0.25" is a spreadsheet's quarter of a day
                pairs.append((bare(moment.strftime(style)), dt.timedelta(seconds=exact)))
    expect(engine, "read_clock", pairs)


decimals = st.lists(
    st.decimals(min_value=-9_999_999, max_value=9_999_999, places=2, allow_nan=False, allow_infinity=False),
    min_size=30, max_size=30,
)  # fmt: skip
SPACES = [" ", "\u00a0", "\u202f", "\u2009"]


def grouped(value, group, point):
    """Write a number with that mark between thousands and that one before its two decimals."""
    return f"{value:,.2f}".replace(",", "g").replace(".", point).replace("g", group)


@few
@given(values=decimals)
def test_any_number_with_any_separators_comes_back(engine, values):
    pairs = []
    for value in values:
        number = float(value)
        marks = [(",", "."), (".", ","), ("", "."), ("", ","), ("'", "."), ("’", ",")]
        marks += [(space, point) for space in SPACES for point in ".,"]
        pairs += [(grouped(value, group, point), number) for group, point in marks]
        pairs += [
            (grouped(value, ",", ".").replace("-", "−"), number),
            (f"{number!r}", number),
            (f"{number:E}", number),
        ]
        pairs += [(f"{grouped(abs(value), ',', '.')}-", -abs(number)), (f"'{value}", number)]
    expect(engine, "read_number", [(text, value) for text, value in pairs if "E" not in text or float(text) == value])


@few
@given(values=decimals)
def test_any_money_with_any_sign_comes_back(engine, values):
    pairs = []
    for value in values:
        size, sign = abs(value), "-" if value.is_signed() else ""
        american, german, french = grouped(size, ",", "."), grouped(size, ".", ","), grouped(size, "\u202f", ",")
        signed = [
            f"{sign}${american}", f"${sign}{american}", f"$ {sign}{american}", f"{sign}{american}",
            f"USD {sign}{american}", f"{sign}{american} USD", f"{sign}{german} €", f"{sign}{german} EUR",
            f"{sign}€{german}", f"{sign}{french}\u00a0€",
        ]  # fmt: skip
        credits_ = [
            f"({american})", f"(${american})", f"$({american})", f"${american}-", f"{american} CR", f"−${american}",
        ]  # fmt: skip
        pairs += [(text, value) for text in signed] + [(text, -size) for text in credits_]
    expect(engine, "read_money", pairs)


@few
@given(values=decimals)
def test_a_column_of_decimal_commas_comes_back_and_no_cell_with_a_point_passes_as_one(engine, values):
    texts = [(grouped(value, group, ","), float(value)) for value in values for group in (".", "", " ", "\u202f")]
    texts += [(f"{value:,.0f}".replace(",", "."), float(round(value))) for value in values]
    expect(engine, "from_comma_number", texts)
    assert read_all(engine, "decimal_shape", [grouped(value, ".", ",") for value in values]) == ["comma"] * len(values)
    assert read_all(engine, "decimal_shape", [grouped(value, ",", ".") for value in values]) == ["point"] * len(values)
    pointed = [grouped(value, ",", ".") for value in values]
    assert read_all(engine, "from_comma", pointed) == [None] * len(values)


@pytest.fixture(autouse=True)
def from_comma_number(engine):
    engine.run("create or replace macro from_comma_number(s) as read_number(from_comma(s))")


sections = st.tuples(st.integers(15, 90), st.integers(15, 149))  # 45 and 5.0 to 14.9


@few
@given(ratings=st.lists(sections, min_size=20, max_size=20), slip=st.sampled_from(["mF", "MF"]))
def test_any_rating_of_two_sections_comes_back(engine, ratings, slip):
    for i, macro in enumerate(("herm_microfarads", "fan_microfarads")):
        pairs = []
        for herm, tenths in ratings:
            fan = tenths / 10
            value = (float(herm), fan)[i]
            tails = ["", " MFD", "uF", " µF 440V", " mfd 370/440 VAC", "/440", f" {slip}", " uF ±6%"]
            pairs += [(f"{herm}{sign}{fan:g}{tail}", value) for sign in ("/", "+", " x ", " & ") for tail in tails]
            pairs += [(f"{herm}/{fan:g}".replace(".", ","), value), (f"{herm}000/{tenths}00 nF", value)]
        expect(engine, macro, pairs)


@few
@given(readings=st.lists(st.integers(21, 999), min_size=30, max_size=30))  # up to 2 mF the standard may be meant
def test_any_reading_in_any_unit_of_capacitance_comes_back(engine, readings):
    pairs = []
    for tenths in readings:
        value = tenths / 10
        pairs += [
            (f"{value}{unit}", value) for unit in ("", " uF", "µF", " MFD", " mF", " F", " micro farads", " uF 370V")
        ]
        pairs += [(f"{tenths}00 nF", value), (f"{tenths}00000 pF", value), (f"{tenths / 10_000:.4f} mF", value)]
        pairs += [(f"{value} uF".replace(".", ","), value)]
    expect(engine, "read_microfarads", pairs)


@few
@given(pairs=st.lists(st.tuples(st.integers(0, 12), st.integers(0, 59)), min_size=30, max_size=30))
def test_two_units_at_once_add_up(engine, pairs):
    minutes = [(f"{h} h {m} min", 60 * h + m) for h, m in pairs] + [(f"{h}:{m:02}", 60 * h + m) for h, m in pairs]
    expect(engine, "read_minutes", minutes + [(f"{h}h{m:02}", 60 * h + m) for h, m in pairs])
    ounces = [(f"{lb} lb {oz} oz", 16 * lb + oz) for lb, oz in pairs] + [
        (f"{lb}# {oz}oz", 16 * lb + oz) for lb, oz in pairs
    ]
    expect(engine, "read_ounces", ounces)
    inches = read_all(engine, "read_metres", [f"{feet}' {inch}\"" for feet, inch in pairs])
    assert all(math.isclose(got, (12 * feet + inch) * 0.0254) for got, (feet, inch) in zip(inches, pairs, strict=True))


MACROS = [
    "read_number", "read_pieces", "read_money", "read_yesno", "nothing_said", "no_text", "from_comma", "decimal_shape",
    "read_microfarads", "herm_microfarads", "fan_microfarads", "low_microfarads", "high_microfarads", "microfarad_note",
    "read_minutes", "read_ounces", "read_fahrenheit", "read_celsius", "read_tons", "read_metres", "read_days",
    "read_months",
    "read_volts", "read_rated_volts", "read_amps", "read_hertz", "read_percent", "read_clock", "clock_only",
    "says_time",
    "offset_note", "read_datetime_iso", "read_datetime_mdy", "read_datetime_dmy", "unit_behind", "plain_unit", "tidy",
]  # fmt: skip
noise = st.one_of(
    st.text(alphabet="0123456789 .,:/-+()$€%'\"#aehkmnopstuxzµ°½−\u00a0Ttpm", max_size=14),
    st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cs",), exclude_characters="\x00"), max_size=12),
)


@few
@given(texts=st.lists(noise, min_size=40, max_size=40))
def test_no_text_stops_a_reader_and_what_is_read_is_finite_and_in_range(engine, texts):
    for macro in MACROS:
        for value in read_all(engine, macro, texts):
            assert not isinstance(value, float) or math.isfinite(value), macro
            assert not isinstance(value, dt.datetime) or 1900 <= value.year < 2200, macro
            assert not isinstance(value, Decimal) or abs(value) < 10**14, macro


@few
@given(
    texts=st.lists(
        st.from_regex(r"\A[-+]?[0-9]{1,6}([.,/ :x-][0-9]{1,4}){0,3}( ?[a-zA-Zµ%]{1,3})?\Z"), min_size=60, max_size=60
    )
)
def test_a_number_is_read_as_what_stands_there_or_not_at_all(engine, texts):
    """Whatever read_number makes of a text, its digits are the text's own, in their order."""
    for text, value in zip(texts, read_all(engine, "read_number", texts), strict=True):
        if value is not None and not re.search(r"[0-9][eE]", text):
            written = re.sub(r"[^0-9]", "", re.sub(r"[a-zA-Zµ%]+$", "", text)).strip("0")
            assert re.sub(r"[^0-9]", "", f"{abs(value):.6f}").strip("0") == written, (text, value)
