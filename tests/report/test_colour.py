"""The pitch ramp against the definition of CIELAB and a published simulation of colour blindness."""

import numpy as np
import pytest

from slopewright.report.colour import LEVEL_LAB, STEEP_LAB, css_colour, linear_rgb

STEPS = np.linspace(0, 60, 13)


def lab(rgb_linear):
    """CIELAB from linear sRGB with the primaries' matrix of IEC 61966-2-1, rounded as printed there."""
    xyz = (
        np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb_linear
    )
    x, y, z = np.cbrt(xyz / [0.9505, 1.0, 1.089])
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def decoded(css):
    encoded = np.array([int(css[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def test_our_lab_gives_the_known_value_of_red():
    """Guards the oracle: sRGB red is L* 53.24, a* 80.09, b* 67.20 (common tables, D65)."""
    np.testing.assert_allclose(lab([1, 0, 0]), [53.24, 80.09, 67.20], atol=0.1)


def test_equal_steps_of_pitch_are_equal_steps_of_colour():
    """Oracle: CIE 1976 colour difference."""
    colours = np.array([lab(linear_rgb(p)) for p in STEPS])
    steps = np.linalg.norm(np.diff(colours, axis=0), axis=1)
    assert steps == pytest.approx(np.full(len(steps), steps.mean()), abs=0.05)
    assert steps.mean() > 4


def test_the_ends_of_the_ramp_are_where_the_module_says():
    """Oracle: CIELAB of the colours; the matrix of the oracle has four digits."""
    np.testing.assert_allclose(lab(linear_rgb(0)), LEVEL_LAB, atol=0.05)
    np.testing.assert_allclose(lab(linear_rgb(60)), STEEP_LAB, atol=0.05)


@pytest.mark.parametrize("pitch", STEPS)
def test_a_written_colour_is_the_linear_one_to_its_last_bit(pitch):
    """Oracle: IEC 61966-2-1 decoding; half a step of 1/255 is at most 0.0045 of linear light."""
    np.testing.assert_allclose(decoded(css_colour(pitch)), linear_rgb(pitch), atol=0.0045)


# Full severity, from G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for
# simulation of color vision deficiency", IEEE TVCG 15(6), 2009, doi:10.1109/TVCG.2009.113 (linear RGB).
PROTAN = [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
DEUTAN = [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]


@pytest.mark.parametrize("seen", [np.eye(3), PROTAN, DEUTAN], ids=["normal", "protan", "deutan"])
def test_lightness_falls_and_steps_stay_visible_to_all(seen):
    colours = np.array([lab(np.clip(np.array(seen) @ linear_rgb(p), 0, 1)) for p in STEPS])
    assert (np.diff(colours[:, 0]) < -1.5).all()
    steps = np.linalg.norm(np.diff(colours, axis=0), axis=1)
    assert steps.min() > 0.6 * steps.max()


@pytest.mark.parametrize("pitch", STEPS)
def test_black_text_is_readable_on_every_colour(pitch):
    """Oracle: WCAG 2.2, 1.4.6 enhanced contrast, 7 to 1."""
    luminance = np.array([0.2126, 0.7152, 0.0722]) @ decoded(css_colour(pitch))
    assert (luminance + 0.05) / 0.05 > 7


def test_no_colour_is_cut_off_at_the_edge_of_srgb():
    for pitch in STEPS:
        assert linear_rgb(pitch).min() > 0 and linear_rgb(pitch).max() < 1


def test_pitches_outside_the_ramp_take_its_ends():
    assert css_colour(-1) == css_colour(0)
    assert css_colour(89) == css_colour(60)
