"""Waste of the field from its courses, as the takeoff lists and orders it."""

import numpy as np
import pytest

from slopewright import takeoff
from slopewright.errors import InputError
from slopewright.takeoff.laying import Policy, lay_roof
from slopewright.units import SQUARE_M2
from takeoff.takeoff_roofs import gable, hip, layer_of, line, system, system_document, take


@pytest.mark.parametrize("roof", [gable(44, 16, 6), hip(44, 30, 7)], ids=["gable", "hip"])
def test_waste_of_an_exact_roof_lies_between_its_two_policies(roof):
    """Oracle: the layout's own modules, counted by hand elsewhere; all sizes are exact."""
    using = system()
    courses = lay_roof(roof, roof.planes, using.pattern(using.laying))
    pooled, none = (courses.waste_m2(policy) / SQUARE_M2 for policy in (Policy.POOLED, Policy.NONE))
    shingles = line(take(roof), "field shingles")
    assert pooled <= shingles.waste.low < shingles.waste.high <= none
    assert shingles.waste.value == pytest.approx((pooled + none) / 2, rel=1e-3)
    assert f"{courses.modules(Policy.POOLED)} modules" in shingles.rule
    assert "rule of thumb, not used, says 10% to 15%" in shingles.rule


def test_a_hip_roof_is_ordered_more_than_a_gable_of_its_area():
    """Oracle: same area (Estimating in Building Construction, 14-11), more cuts."""
    of_hip, of_gable = (line(take(roof), "field shingles") for roof in (hip(60, 40, 6), gable(60, 20, 6)))
    assert of_hip.net.value == pytest.approx(of_gable.net.value)
    assert of_hip.order.quantity > of_gable.order.quantity


def test_a_stated_chance_holds_for_houses_that_are_laid_anew():
    """Oracle: 150 roofs at other scales, laid, between the policies at random; s.d. 1.8 %."""
    document = system_document()
    layer_of(document, "field shingles")["package"] |= {"holds_ft2": 0.5}
    using = takeoff.system_from_toml(document, file="changed.toml")
    pattern, rng, scale_u = using.pattern(using.laying), np.random.default_rng(12), 0.01
    order = line(take(hip(26, 18, 7, scale_u=scale_u), using=using), "field shingles").order
    short = []
    for _ in range(150):
        factor = 1 + scale_u * rng.standard_normal()
        courses = lay_roof(true := hip(26 * factor, 18 * factor, 7), true.planes, pattern)
        fewest, most = (courses.modules(policy) for policy in (Policy.POOLED, Policy.NONE))
        need_m2 = pattern.face_m2 * (fewest + rng.uniform() * (most - fewest))
        short.append(need_m2 > order.quantity * 0.005 * SQUARE_M2)
    assert order.chance_short == pytest.approx(0.05, abs=0.005)
    assert 0.005 <= np.mean(short) <= 0.105


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda d: d.pop("laying"), "'field shingles' is laid, need a \\[laying\\] table"),
        (lambda d: d["laying"].update(height_in=3), "height_in 3 is below exposure_in 5.625"),
        (lambda d: d["laying"].update(stagger_in="6"), "laying.stagger_in: got '6'"),
        (lambda d: d["laying"].pop("source"), "laying.source: missing"),
        (
            lambda d: layer_of(d, "field shingles").update(waste={"low": 0, "high": 0, "source": "x"}),
            "laid goes with",
        ),
        (lambda d: layer_of(d, "felt off").update(laid=True), "laid goes with"),
    ],
)
def test_a_laying_that_cannot_be_is_refused_by_field(change, says):
    document = system_document()
    change(document)
    with pytest.raises(InputError, match=f"my.toml: .*{says}"):
        takeoff.system_from_toml(document, file="my.toml")
