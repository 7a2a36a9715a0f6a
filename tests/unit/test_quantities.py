"""Figures for people: rounded to what their uncertainty supports, by published rules."""

import math

import pytest

from wrackline.quantities import fixed, measured, places, rounded


@pytest.mark.parametrize(
    ("value", "sd", "printed"),
    [
        (0.827, 0.119, ("0.83", "0.12")),
        (0.827, 0.367, ("0.8", "0.4")),
        (14.674, 0.964, ("14.7", "1.0")),
    ],
)
def test_examples_of_the_particle_data_group(value, sd, printed):
    """Particle Data Group, Review of Particle Physics, Introduction, "Rounding" (from memory).

    The first two are its own examples; the third follows its rule for 950 to 999.
    """
    assert rounded(value, sd) == printed


@pytest.mark.parametrize(
    ("leading", "digits"),
    [
        (100, 2),
        (354, 2),
        (355, 1),
        (949, 1),
    ],
)
@pytest.mark.parametrize("power", [-5, -3, 0, 4])
def test_bounds_of_the_rule_of_the_particle_data_group(leading, digits, power):
    """Of three leading digits 100 to 354 keep two, 355 to 949 one, at any power of ten."""
    sd = float(f"{leading}e{power}")
    assert places(sd) == -(power + 2) + digits - 1


@pytest.mark.parametrize("sd", [0.950, 0.964, 0.999, 0.9996])
def test_from_950_on_an_uncertainty_is_printed_as_the_next_power(sd):
    """950 to 999 become 1000 and keep two digits (Particle Data Group, from memory)."""
    assert rounded(5.0, sd) == ("5.0", "1.0")


def test_the_resistor_of_the_gum():
    """JCGM 100:2008 (GUM), 7.2.6: 10.057 62 ohm with 27 milliohm is 10.058 ohm (from memory)."""
    assert rounded(10.05762, 0.027) == ("10.058", "0.027")


def test_the_frequency_of_the_gum():
    """JCGM 100:2008 (GUM), 7.2.6: 28.05 kHz is rounded down to 28 kHz (from memory)."""
    assert rounded(0.0, 28.05)[1] == "28"


@pytest.mark.parametrize("sd", [10.0**k * m for k in range(-4, 4) for m in (1, 1.6, 3.5, 3.6, 9.4)])
def test_no_uncertainty_keeps_more_than_two_digits(sd):
    """JCGM 100:2008 (GUM), 7.2.6: at most two significant digits suffice (from memory)."""
    printed = rounded(0.0, sd)[1]
    assert len(printed.replace(".", "").strip("0")) <= 2
    assert float(printed) == pytest.approx(sd, rel=0.15)


def test_value_and_uncertainty_end_at_the_same_place():
    """JCGM 100:2008 (GUM), 7.2.6: estimates are rounded to be consistent with uncertainties."""
    for sd in (0.0042, 0.042, 0.42, 4.2):
        value, printed = rounded(123.456789, sd)
        assert len(value.partition(".")[2]) == len(printed.partition(".")[2])


@pytest.mark.parametrize("sd", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_uncertainty_supports_no_rounding(sd):
    """Only a positive, finite uncertainty has a place."""
    with pytest.raises(ValueError, match="supports no rounding"):
        places(sd)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(-0.0004, 3, "0.000"), (-0.0006, 3, "-0.001"), (1250.1, -2, "1300"), (-49.0, -2, "0")],
)
def test_a_rounded_number_has_no_negative_nought(value, digits, text):
    """What rounds to nothing has no sign; tens and hundreds round as well."""
    assert fixed(value, digits) == text


@pytest.mark.parametrize(
    ("value", "sd", "unit", "text"),
    [
        (-3.1234, 0.042, "m", "-3.12 ± 0.04 m"),
        (23.4567, 0.312, "m2", "23.46 ± 0.31 m²"),
        (12.78, 0.163, "deg", "12.78 ± 0.16°"),
        (3.2, None, "m", "3.200 m"),
        (3.2, math.nan, "m", "3.200 m"),
        (3.2, 0.0, "m", "3.200 ± 0 m"),
        (None, 0.1, "m", "–"),
        (math.nan, 0.1, "m", "–"),
        (7.04, 0.5, "", "7.0 ± 0.5"),
    ],
)
def test_a_figure_is_written_with_its_uncertainty_and_sign(value, sd, unit, text):
    """Value ± sd and the unit's sign; a dash for what is missing."""
    assert measured(value, sd, unit) == text
