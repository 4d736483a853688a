"""Quantities: what is read, what is refused, and what is written back."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core import quantities as q
from cureplan.core.errors import QuantityError
from cureplan.core.printed import parse_duration_range_s, split_printed

# ---- published values


def test_a_us_gallon_is_231_cubic_inches():
    # Published: NIST Handbook 44, appendix C (from memory); 231 in^3 = 3.785412 L.
    # Tolerance: the printed litres end at the sixth decimal.
    assert q.parse_volume_m3("1 gal") == pytest.approx(231 * 0.0254**3, rel=1e-12)
    assert q.parse_volume_m3("1 gal") * 1000 == pytest.approx(3.785412, abs=5e-7)


@pytest.mark.parametrize(
    ("thickness", "covered_sq_ft", "tolerance"),
    [
        # Computed from 231 in^3 by arithmetic.
        # Tolerance: half a unit of the last digit printed.
        ("1 mil", 1604.17, 0.005),
        ("1/8 in", 12.833, 0.0005),
        ("1/4 in", 6.417, 0.0005),
        ("3 mm", 13.58, 0.005),
    ],
)
def test_what_a_gallon_covers(thickness, covered_sq_ft, tolerance):
    covered_m2 = q.parse_volume_m3("1 gal") / q.parse_length_m(thickness)
    assert covered_m2 / q.parse_area_m2("1 sq ft") == pytest.approx(
        covered_sq_ft, abs=tolerance
    )


def test_what_a_gallon_of_65_percent_solids_covers_at_5_mil():
    # Arithmetic on 231 in^3: 0.65 * 1604.17 / 5 = 208.5. Tolerance: half the last digit.
    covered_m2 = (
        q.parse_fraction("65 %") * q.parse_volume_m3("1 gal") / q.parse_length_m("5 mil")
    )
    assert covered_m2 / q.parse_area_m2("1 sq ft") == pytest.approx(208.5, abs=0.05)


def test_the_btu_of_the_international_table():
    # Published: CRC Handbook, after NIST SP 811: 1 Btu(IT) = 1055.056 J.
    # Tolerance: half the last digit printed.
    per_kelvin_j = q.parse_specific_heat_j_kg_k("1 Btu/lb F") * q.parse_mass_kg("1 lb") * 5 / 9
    assert per_kelvin_j == pytest.approx(1055.056, abs=5e-4)


def test_conductivity_of_one_btu_per_hour_foot_and_degree():
    # Published: NIST SP 811, appendix B.8 (from memory): 1 Btu/(h ft F) = 1.730735 W/(m K).
    # Tolerance: half the last digit printed.
    assert q.parse_conductivity_w_m_k("1 Btu/h ft F") == pytest.approx(1.730735, abs=5e-7)


# ---- reading


@pytest.mark.parametrize(
    ("parse", "text", "expected"),
    [
        # Worked by hand from 1 in = 25.4 mm, 1 lb = 0.45359237 kg, C = (F - 32) / 1.8.
        (q.parse_length_m, "1 1/8 in", 0.028575),
        (q.parse_length_m, "1-1/8 in", 0.028575),
        (q.parse_length_m, "1⅛ in", 0.028575),
        (q.parse_length_m, "½ in", 0.0127),
        (q.parse_length_m, ".5in.", 0.0127),
        (q.parse_length_m, "14 ft 6 in", 4.4196),
        (q.parse_length_m, "14' 6\"", 4.4196),
        (q.parse_length_m, "14 FEET 6 1/2 Inches", 4.4323),
        (q.parse_length_m, "125 mil", 0.003175),
        (q.parse_length_m, "  3   mm ", 0.003),
        (q.parse_length_m, "0 in", 0.0),
        # The same by hand, as drawings, letters and other lands write it.
        (q.parse_length_m, "30′ 6″", 9.2964),
        (q.parse_length_m, "30'-6\"", 9.2964),
        (q.parse_length_m, "30’-6”", 9.2964),
        (q.parse_length_m, "30 ft-6 in", 9.2964),
        (q.parse_length_m, "30' 6 1/2''", 9.3091),
        (q.parse_length_m, "30'-6-1/2\"", 9.3091),
        (q.parse_length_m, "30 ft, 6 in", 9.2964),
        (q.parse_length_m, "3,5 m", 3.5),
        (q.parse_length_m, "0,125 in", 0.003175),
        (q.parse_area_m2, "1,234.5 sq ft", 1234.5 * 0.09290304),
        (q.parse_area_m2, "1.234,5 m2", 1234.5),
        (q.parse_area_m2, "250 SF", 23.22576),
        (q.parse_duration_s, "1-1/2 h", 5400.0),
        (q.parse_duration_s, "1½ hrs.", 5400.0),
        (q.parse_temperature_c, "82.4 degrees F", 28.0),
        (q.parse_temperature_c, "82,4 Degrees Fahrenheit", 28.0),
        (q.parse_temperature_c, "28 degrees Celsius", 28.0),
        (q.parse_temperature_difference_k, "9 degrees F", 5.0),
        (q.parse_cover_kg_m2, "0.6 psf", 0.6 * 0.45359237 / 0.09290304),
        (q.parse_cover_kg_m2, "0.6 lbs per sq. ft.", 0.6 * 0.45359237 / 0.09290304),
        (q.parse_mass_kg, "40#", 18.1436948),
        (q.parse_density_kg_m3, "68.7 pcf", 68.7 * 0.45359237 / 0.3048**3),
        (q.parse_elevation_m, "-100 ft", -30.48),
        (q.parse_temperature_c, "82.4 F", 28.0),
        (q.parse_temperature_c, "294 K", 20.85),
        (q.parse_temperature_c, "28°C", 28.0),
        (q.parse_temperature_c, "−40 °F", -40.0),
        (q.parse_temperature_c, "68 deg F", 20.0),
        (q.parse_temperature_difference_k, "9 F", 5.0),
        (q.parse_temperature_difference_k, "3 K", 3.0),
        (q.parse_temperature_difference_k, "-1.8 F", -1.0),
        (q.parse_duration_s, "1 h 30 min", 5400.0),
        (q.parse_duration_s, "1.5 hours", 5400.0),
        (q.parse_duration_s, "1 d 2 h 3 min 4 s", 93784.0),
        (q.parse_mass_kg, "2 lb 8 oz", 1.133980925),
        (q.parse_mass_kg, "250 g", 0.25),
        (q.parse_volume_m3, "0.33 ft³", 0.33 * 0.3048**3),
        (q.parse_volume_m3, "2 qt", 231 * 0.0254**3 / 2),
        (q.parse_area_m2, "250 sq. ft.", 23.22576),
        (q.parse_spread_rate_m2_m3, "90 sq ft per gallon", 90 * 0.09290304 / 0.003785411784),
        (q.parse_cover_kg_m2, "0.6 lb/sq ft", 0.6 * 0.45359237 / 0.09290304),
        (q.parse_area_rate_m2_s, "22 sq ft/min", 22 * 0.09290304 / 60),
        (q.parse_density_kg_m3, "1.1 g/cm³", 1100.0),
        (q.parse_density_kg_m3, "9 lb/gal", 9 * 0.45359237 / 0.003785411784),
        (q.parse_fraction, "99.9 %", 0.999),
        (q.parse_energy_j_mol, "12 kcal/mol", 50208.0),
        (q.parse_specific_heat_j_kg_k, "1.9 kJ/(kg·K)", 1900.0),
        (q.parse_conductivity_w_m_k, "0.18 W/(m K)", 0.18),
        (q.parse_power_w, "0.35 kW", 350.0),
        (q.parse_heat_exchange_w_k, "2 W/K", 2.0),
    ],
)
def test_reads_what_the_trade_writes(parse, text, expected):
    assert parse(text) == pytest.approx(expected, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "early_s", "late_s"),
    [
        ("3.5-4 h", 12_600, 14_400),
        ("3.5 – 4 h", 12_600, 14_400),
        ("3 h 30 min to 4 h", 12_600, 14_400),
        ("30 min - 1 h", 1800, 3600),
        ("1 1/2 - 2 h", 5400, 7200),
        ("16 min", 960, 960),
        ("3-1/2 to 4 h", 12_600, 14_400),
        ("3-1/2 - 4-1/2 hours", 12_600, 16_200),
        ("3½–4 h", 12_600, 14_400),
        ("1-1/2 h", 5400, 5400),
        ("1/2-3/4 h", 1800, 2700),
        ("3,5-4 h", 12_600, 14_400),
        ("15 to 20 minutes", 900, 1200),
        ("15 min to 20 min", 900, 1200),
        ("approx. 20 min", 1200, 1200),
        ("~15-20 min", 900, 1200),
        ("20 ± 2 min", 1080, 1320),
        ("4 h +/- 30 min", 12_600, 16_200),
        ("1:05 h", 3900, 3900),
        ("max. 20 min", 1200, 1200),
        ("20 min max.", 1200, 1200),
        ("at least 4 h", 14_400, 14_400),
        ("4+ h", 14_400, 14_400),
        ("20 min +", 1200, 1200),
        ("4..6 h", 14_400, 21_600),
        ("de 4 a 6 h", 14_400, 21_600),
        ("zwischen 4 und 6 h", 14_400, 21_600),
        ("1 h 20 min max", 4800, 4800),
        ("4 h (min.)", 14_400, 14_400),
        ("≤ 15-20 min", 900, 1200),
        ("máx. 20 min", 1200, 1200),
        ("20 min ±10 %", 1080, 1320),
        ("2 hours 30 minutes", 9000, 9000),
    ],
)
def test_reads_ranges_of_time(text, early_s, late_s):
    assert parse_duration_range_s(text) == (early_s, late_s)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("20-25 minutes (70°F, 50% R.H.)", ("20-25 minutes", "70°F", "50%")),
        ("20 min (21°C)", ("20 min", "21°C", "")),
        ("70 °F: 20–25 min", ("20–25 min", "70 °F", "")),
        ("at 70 F, 50 % RH: 25 min", ("25 min", "70 F", "50 %")),
        ("max. 20 min at 294 K", ("max. 20 min", "294 K", "")),
        ("20 min at 70 °F / 21 °C", ("20 min", "70 °F", "")),
        ("20 Min. bei 20 °C, 65% r.F.", ("20 Min.", "20 °C", "65%")),
        ("20 min a 20 °C y 50 % HR", ("20 min", "20 °C", "50 %")),
        ("~20 min at 70 °F (21 °C)", ("~20 min", "70 °F", "")),
        ("20 min at room temperature", None),
        ("15-20 min at 65-75 F", None),
        ("20 min at 70", None),
    ],
)
def test_takes_apart_what_a_sheet_prints(text, parts):
    assert split_printed(text) == parts


def test_two_temperatures_of_a_sheet_must_be_one():
    with pytest.raises(QuantityError, match="70 F is not 25 C; leave the right one"):
        split_printed("20 min at 70 F (25 C)")


@pytest.mark.parametrize("text", ["1:1", " 2 : 1.5 "])
def test_reads_ratios(text):
    first, second = q.parse_ratio(text)
    assert [first, second] == [float(part) for part in text.split(":")]


# ---- refusing

BAD = [
    # What general unit libraries take, or take for something else.
    (q.parse_length_m, "22", "bare number"),
    (q.parse_length_m, "125 mils of paint", "not a unit"),
    (q.parse_length_m, "22 yd", "'yd' is not a unit"),
    (q.parse_length_m, "1e3 ft", "not a unit"),
    (q.parse_length_m, "1,200 ft", "comma"),
    (q.parse_length_m, "1,2,3 m", "comma"),
    (q.parse_length_m, "12,345 ft", "thousands or decimals"),
    (q.parse_length_m, "1.2,3.4 m", "comma"),
    (q.parse_length_m, "30'-14\"", "more than one"),
    (q.parse_duration_s, "1-2 h", "a range"),
    (parse_duration_range_s, "1.200 s", "thousands or decimals"),
    (parse_duration_range_s, "min. 4 h / max. 24 h", "two milestones"),
    (parse_duration_range_s, "4 h min, 24 h max", "two milestones"),
    (parse_duration_range_s, "max. 1.440 min", "thousands or decimals"),
    (q.parse_duration_s, "1.250 s", "thousands or decimals"),
    (parse_duration_range_s, "20 min ± 120 %", "off by all"),
    (q.parse_volume_m3, "2 to 3 gal", "a range"),
    (q.parse_temperature_c, "82 degrees", "not a unit"),
    (q.parse_cover_kg_m2, "30 psi", "not a unit"),
    (q.parse_length_m, "-3 ft", "between 0 m and 10000 m"),
    (q.parse_length_m, "nan m", "not a length"),
    (q.parse_length_m, "inf ft", "not a length"),
    (q.parse_length_m, "99999 m", "between"),
    (q.parse_length_m, "1/0 in", "/0"),
    (q.parse_length_m, "6 in 14 ft", "do not follow"),
    (q.parse_length_m, "1 m 3 in", "do not follow"),
    (q.parse_length_m, "3 ft 2 ft", "do not follow"),
    (q.parse_length_m, "14 ft 18 in", "more than one 'ft'"),
    (q.parse_length_m, "3 ft 6", "bare number"),
    (q.parse_length_m, "1 1 ft", "bare number"),
    (q.parse_length_m, "--3 ft", "not a length"),
    (q.parse_length_m, "", "not a length"),
    (q.parse_length_m, "ft", "not a length"),
    (q.parse_length_m, "٣ ft", "not a length"),
    (q.parse_length_m, "9" * 5000 + " ft", "too long"),
    (q.parse_temperature_c, "82", "bare number"),
    (q.parse_temperature_c, "5000 F", "between -60 C and 120 C"),
    (q.parse_temperature_c, "82 F 3 F", "not a unit"),
    (q.parse_duration_s, "5 m", "'m' is not a unit"),
    (q.parse_duration_s, "1 h 90 min", "more than one 'h'"),
    (q.parse_duration_s, "400 d", "between"),
    (parse_duration_range_s, "4-3 h", "backwards"),
    (parse_duration_range_s, "3-4", "not a range"),
    (parse_duration_range_s, "-4 h", "between"),
    (q.parse_fraction, "0.55", "bare number"),
    (q.parse_fraction, "101 %", "between 0 % and 100 %"),
    (q.parse_mass_kg, "3 stone", "'stone' is not a unit"),
    (q.parse_volume_m3, "2 in", "'in' is not a unit"),
    (q.parse_area_m2, "12 ft", "'ft' is not a unit"),
    (q.parse_spread_rate_m2_m3, "90 gal/sq ft", "not a unit"),
    (q.parse_ratio, "1", "not a mixing ratio"),
    (q.parse_ratio, "0:1", "not a mixing ratio"),
    (q.parse_ratio, "1..5:1", "not a mixing ratio"),
]


@pytest.mark.parametrize(("parse", "text", "fragment"), BAD)
def test_refuses_what_it_cannot_be_sure_of(parse, text, fragment):
    with pytest.raises(QuantityError) as caught:
        parse(text)
    problem, cure = q.split_refusal(caught.value, text)
    assert fragment in problem
    assert cure.startswith("write ")
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("value", [22, 22.5, None, True, ["22 ft"], float("nan")])
def test_refuses_what_is_no_text(value):
    with pytest.raises(QuantityError, match="bare number"):
        q.parse_length_m(value)


PARSERS: list[Callable[[str], object]] = [
    parse_duration_range_s,
    *(getattr(q, name) for name in q.__all__ if name.startswith("parse_")),
]


@given(parse=st.sampled_from(PARSERS), text=st.text(max_size=70))
def test_any_text_is_read_or_refused(parse, text):
    try:
        value = parse(text)
    except QuantityError:
        return
    ends = value if isinstance(value, tuple) else (value,)
    assert all(math.isfinite(end) for end in ends)


UNIT_TEXTS = st.sampled_from(["ft", "in", "min", "h", "F", "C", "%", "lb", "kg", "/", " ", "-"])
PIECES = st.lists(st.one_of(st.integers(0, 99).map(str), UNIT_TEXTS), max_size=8)


@given(parse=st.sampled_from(PARSERS), pieces=PIECES)
def test_any_jumble_of_numbers_and_units_is_read_or_refused(parse, pieces):
    try:
        parse("".join(pieces))
    except QuantityError as error:
        refused = str(error)
    else:
        return
    assert "; write" in refused


# ---- properties


@given(whole=st.integers(0, 500), top=st.integers(0, 63), power=st.integers(0, 6))
def test_mixed_fractions_are_exact(whole, top, power):
    bottom = 2**power
    expected = float((whole + Fraction(top, bottom)) * Fraction(254, 10_000))
    assert q.parse_length_m(f"{whole} {top}/{bottom} in") == expected


@given(feet=st.integers(0, 500), inches=st.integers(0, 11))
def test_feet_and_inches_are_inches(feet, inches):
    assert q.parse_length_m(f"{feet} ft {inches} in") == q.parse_length_m(
        f"{feet * 12 + inches} in"
    )


@given(tenths=st.integers(-400, 2000))
def test_both_temperature_scales_agree(tenths):
    fahrenheit = Fraction(tenths, 10)
    celsius = (fahrenheit - 32) / Fraction(9, 5)
    assert q.parse_temperature_c(f"{tenths / 10} F") == pytest.approx(float(celsius), abs=1e-9)


@pytest.mark.parametrize(
    ("show", "parse", "low", "high", "us_step", "metric_step"),
    [
        # Steps: the coarsest rounding each formatter promises, in SI.
        (q.format_temperature, q.parse_temperature_c, -40, 110, 5 / 9, 0.1),
        (
            q.format_temperature_difference,
            q.parse_temperature_difference_k,
            -50,
            50,
            5 / 9,
            0.1,
        ),
        (q.format_film, q.parse_length_m, 0, 0.01, 25.4e-6, 10e-6),
        (q.format_mass, q.parse_mass_kg, 0, 5000, 0.45359237, 1),
        (q.format_volume, q.parse_volume_m3, 0, 20, 0.003785411784, 0.001),
        (q.format_area, q.parse_area_m2, 0, 5000, 0.09290304, 1),
    ],
)
def test_what_is_shown_reads_back_within_half_a_step(
    show, parse, low, high, us_step, metric_step
):
    @given(value=st.floats(low, high))
    def check(value):
        assert abs(parse(show(value, "us")) - value) <= us_step * 0.5 + 1e-9
        assert abs(parse(show(value, "metric")) - value) <= metric_step * 0.5 + 1e-9

    check()


@given(length_m=st.floats(0, 200))
def test_lengths_read_back_within_half_a_step(length_m):
    # Sixteenths below a foot, whole inches above; 0.1 mm, 1 mm and 1 cm in metric.
    us_step = 0.0254 / 16 if length_m < 0.3 else 0.0254
    metric_step = 1e-4 if length_m < 0.01 else 1e-3 if length_m < 0.99 else 1e-2
    us, metric = q.format_length(length_m, "us"), q.format_length(length_m, "metric")
    assert abs(q.parse_length_m(us) - length_m) <= us_step / 2 + 1e-9
    assert abs(q.parse_length_m(metric) - length_m) <= metric_step / 2 + 1e-9


@given(duration_s=st.floats(0, 3e6))
def test_working_time_is_never_promised_and_waiting_time_never_cut(duration_s):
    working_s = q.parse_duration_s(q.format_working_time(duration_s))
    waiting_s = q.parse_duration_s(q.format_waiting_time(duration_s))
    # A ten-thousandth of a second either way is rounding noise, not time.
    assert working_s - 1e-4 <= duration_s <= waiting_s + 1e-4
    assert duration_s - working_s < 60
    assert waiting_s - duration_s < 60


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        (q.format_length(0.003175, "us"), "1/8 in"),
        (q.format_length(0.0, "us"), "0 in"),
        (q.format_length(0.3047, "us"), "1 ft"),
        (q.format_length(0.9999, "metric"), "1.00 m"),
        (q.format_temperature(-0.01, "metric"), "0.0 °C"),
        (q.format_working_time(59.9), "0 min"),
        (q.format_working_time(-1.0), "-1 min"),
        (q.format_working_time(20 * 60 - 1e-9), "20 min"),
        (q.format_waiting_time(3600.0), "1 h"),
        (q.format_waiting_time(60.1), "2 min"),
    ],
)
def test_how_edges_are_shown(shown, expected):
    assert shown == expected
