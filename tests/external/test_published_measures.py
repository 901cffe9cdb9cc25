"""Published numbers that the other tests of published sources do not hold us to.

Sources: GUM = JCGM 100:2008; S1 = JCGM 101:2008; TN1297 = NIST Technical Note 1297; E = *Estimating in
Building Construction*, sec. 14-11; IRC = International Residential Code 2018.
"""

import numpy as np
import pytest
from scipy.stats import norm

from slopewright import takeoff
from slopewright.measurement import COVERAGE_95, Measurement
from slopewright.roof import Joint, RoofObject
from slopewright.takeoff.draws import summary, uniform_share
from takeoff.takeoff_roofs import gable, layer_of, line, system_document, take

FT = 0.3048


def test_correlations_are_kept_in_a_sum():
    """Oracle: GUM H.2, resistance, reactance and impedance from five readings of V, I and the phase angle."""
    v = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    i = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) / 1000
    phase = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
    readings = np.column_stack([v, i, phase])
    mean, covariance = readings.mean(axis=0), np.cov(readings.T) / 5
    z, cos, sin = mean[0] / mean[1], np.cos(mean[2]), np.sin(mean[2])
    slopes = {
        "R": (127.732, 0.071, np.array([cos / mean[1], -z * cos / mean[1], -z * sin])),
        "X": (219.847, 0.295, np.array([sin / mean[1], -z * sin / mean[1], z * cos])),
        "Z": (254.260, 0.236, np.array([1 / mean[1], -z / mean[1], 0.0])),
    }  # fmt: skip
    joint = Joint(names=("V", "I", "phase"), values=mean, covariance=covariance)
    values = {"R": z * cos, "X": z * sin, "Z": z}
    for name, (value, u, slope) in slopes.items():
        assert values[name] == pytest.approx(value, abs=0.0006)
        found = joint.combine(dict(zip(joint.names, slope.tolist(), strict=True)))
        assert found.u == pytest.approx(u, abs=0.0006), name


def test_bounds_of_a_sum_of_four_rectangular_quantities():
    """Oracle: S1 9.2.3, four rectangular ones of unit standard deviation: 95 % ± 3.88; first order ± 3.92."""
    rng = np.random.default_rng(3)
    total = sum(uniform_share(-(3**0.5), 3**0.5, rng=rng, n=200_000) for _ in range(4))
    found = summary(total)
    assert found.u == pytest.approx(2.0, abs=0.01)
    assert (found.low, found.high) == (pytest.approx(-3.88, abs=0.02), pytest.approx(3.88, abs=0.02))
    assert pytest.approx(3.92, abs=0.001) == 2.0 * COVERAGE_95


def test_the_coverage_factor_covers_95_in_a_hundred():
    """Oracle: TN1297, k = 2 covers 95.45 %; the factor of 95 % is 1.96."""
    assert norm.cdf(COVERAGE_95) - norm.cdf(-COVERAGE_95) == pytest.approx(0.95, abs=1e-9)
    found = Measurement.normal(10.0, 0.5)
    assert norm.cdf(2) - norm.cdf(-2) == pytest.approx(0.9545, abs=5e-5)
    assert (found.low, found.high) == (pytest.approx(10 - 0.98, abs=1e-4), pytest.approx(10 + 0.98, abs=1e-4))


@pytest.mark.parametrize(("covers_ft2", "bundles"), [(20, 50), (25, 40), (100 / 3, 30), (32, 32)])
def test_bundles_of_a_thousand_square_feet(covers_ft2, bundles):
    """Oracle: E, bundles of 20, 25 or 33 1/3 ft²; 1,000 / 32 = 31.25."""
    document = system_document()
    layer = layer_of(document, "field shingles")
    del layer["laid"]
    layer["package"] = {"unit": "bundle", "holds_ft2": covers_ft2, "source": "E"}
    using = takeoff.system_from_toml(document, file="changed.toml")
    roof = gable(50, 10 / np.hypot(1, 0.5), 6)
    assert line(take(roof, using=using), "field shingles").order.quantity == bundles


def test_overlay_panels_are_whole_sheets_of_32_square_feet():
    """Oracle: IRC R905.2.1 with panels of 4 x 8 ft: 1,408 ft² are 44 before cuts."""
    document = system_document("composition-over-wood")
    del layer_of(document, "deck overlay")["waste"]
    using = takeoff.system_from_toml(document, file="changed.toml")
    roof = gable(44, 16 / np.hypot(1, 0.5), 6)
    overlay = line(take(roof, using=using, deck="spaced"), "deck overlay")
    assert overlay.net.value == pytest.approx(44.0) and overlay.order.quantity == 44
    assert overlay.status == "code_item"


@pytest.mark.parametrize(
    ("limit", "wide", "deducted"), [(None, 8, 0), (30, 5, 30), (30, 4.9, 0), (10, 4, 24)]
)
def test_openings_are_taken_off_only_from_the_size_that_is_asked_for(limit, wide, deducted):
    """Oracle: E, openings under 30 ft² are not deducted: a convention, so an option; here 6 ft high."""
    plain = gable(60, 20, 6)
    middle = tuple(plain.vertices[list(plain.planes[0].loops[0])].mean(axis=0).tolist())
    skylight = RoofObject(id="o1", kind="skylight", plane="A", position=middle, size=(wide * FT, 6 * FT))
    document = system_document()
    if limit is not None:
        layer_of(document, "field shingles")["openings_off_from_ft2"] = limit
    using = takeoff.system_from_toml(document, file="changed.toml")
    whole = line(take(plain, using=using), "field shingles")
    field = line(take(gable(60, 20, 6, objects=(skylight,)), using=using), "field shingles")
    assert (whole.net.value - field.net.value) * 100 == pytest.approx(deducted, abs=1e-6)
    assert ("Less openings" in field.rule) == (deducted > 0)
    bought = field.net.value + field.waste.value
    assert (
        whole.net.value + whole.waste.value - 0.1 * wide
        < bought
        < whole.net.value + whole.waste.value + 0.1 * wide
    )
