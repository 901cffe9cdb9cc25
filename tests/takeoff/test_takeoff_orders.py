"""Bounds and orders: one covariance, whole packages, the chance of running short."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from slopewright import takeoff
from slopewright.roof import Joint
from slopewright.takeoff.draws import draw, uniform_share
from slopewright.takeoff.order import order_packages
from takeoff.takeoff_roofs import gable, hip, layer_of, lean_to, line, system, system_document, take

SYSTEM = system()


def test_a_common_scale_moves_all_planes_together():
    """Oracle: definition; the area's relative uncertainty is twice the scale's, not that over sqrt 2."""
    result = take(gable(40, 15, 6, scale_u=0.01))
    shingles, caps = line(result, "field shingles").net, line(result, "hip and ridge caps").net
    assert shingles.u == pytest.approx(0.02 * shingles.value)
    assert shingles.high - shingles.value == pytest.approx(1.959964 * 0.02 * shingles.value)
    assert caps.u == pytest.approx(0.01 * caps.value)


def test_the_moving_ridge_takes_from_one_plane_what_it_gives_to_the_other():
    """Oracle: Monte Carlo over the corners themselves, 4000 roofs; their s.d. is known to 1.1 %."""
    u = 0.03
    net = line(take(gable(40, 15, 6, corner_u_m=u)), "shingles off, first layer").net
    rng = np.random.default_rng(3)
    corners = gable(40, 15, 6).vertices
    areas = []
    for _ in range(4000):
        xyz = corners + rng.normal(0, u, corners.shape)
        for_each = [_ring_area(xyz[list(loop)]) for loop in ((0, 1, 2, 3), (3, 2, 4, 5))]
        areas.append(sum(for_each) / 9.290304)
    assert net.u == pytest.approx(np.std(areas), rel=0.05)


SHARE = {"low": 0.01, "high": 0.15, "source": "the test"}


def with_a_stated_share(**more: object) -> takeoff.System:
    """The field's waste as a share between 1 and 15 % in place of laid courses."""
    document = system_document()
    field = layer_of(document, "field shingles")
    del field["laid"]
    field.update({"waste": SHARE, **more})
    return takeoff.system_from_toml(document, file="changed.toml")


@pytest.mark.parametrize("assurance", [0.5, 0.8, 0.95, 0.99])
@pytest.mark.parametrize("length", [37.0, 40.0, 44.0, 61.0])
def test_the_chance_of_running_short_is_that_of_the_joint_distribution(length, assurance):
    """Oracle: quadrature over the waste's slices of the normal tail; 10,000 draws know a chance to 0.5 %."""
    roof = gable(length, 15, 6, scale_u=0.01)
    shingles = line(take(roof, using=with_a_stated_share(), assurance=assurance), "field shingles")
    share = 1 + np.linspace(0.01, 0.15, 4001)
    net = shingles.net

    def short(q: int) -> float:
        return float(np.mean(norm.sf(q * 0.32 / share, net.value, net.u)))

    assert shingles.order.chance_short == pytest.approx(short(shingles.order.quantity), abs=0.015)
    assert shingles.order.chance_short <= 1 - assurance + 1e-12
    assert short(shingles.order.quantity - 1) > 1 - assurance - 0.015  # one bundle less would not do


def test_a_stated_chance_of_five_percent_is_three_to_seven():
    """Oracle: 400 new roofs of the same distribution a house; packages so fine that 5 % is met."""
    using = with_a_stated_share(package={"unit": "piece", "holds_ft2": 0.5, "source": "the test"})
    rng = np.random.default_rng(11)
    short = []
    for k in range(12):
        order_line = line(take(gable(30 + k, 15, 6, scale_u=0.01), using=using, seed=k), "field shingles")
        assert order_line.order.chance_short == pytest.approx(0.05, abs=0.005)
        area = rng.normal(order_line.net.value, order_line.net.u, 400)
        need = area * rng.uniform(1.01, 1.15, 400) / 0.005
        short.append(need > order_line.order.quantity)
    assert 0.03 <= np.mean(short) <= 0.07


@given(
    mean=st.floats(0.1, 500),
    spread=st.floats(0, 50),
    assurance=st.floats(0.01, 0.999),
    seed=st.integers(0, 999),
)
def test_the_order_is_the_fewest_packages_that_keep_the_assurance(mean, spread, assurance, seed):
    """Oracle: definition, by counting draws."""
    packages = np.maximum(np.random.default_rng(seed).normal(mean, spread, 500), 0)
    order = order_packages(packages, unit="x", assurance=assurance)
    need = np.ceil(packages - 1e-6)
    assert order.chance_short == np.mean(need > order.quantity) <= 1 - assurance + 1e-9
    if order.quantity > need.min():
        assert np.mean(need > order.quantity - 1) > 1 - assurance - 1e-9


@pytest.mark.parametrize(
    ("need", "quantity"), [(44.0, 44), (44 + 1e-9, 44), (44.001, 45), (0.0, 0), (1e-3, 1)]
)
def test_a_need_without_doubt_is_rounded_up(need, quantity):
    order = order_packages(np.full(100, need), unit="bundle", assurance=0.95)
    assert (order.quantity, order.chance_short) == (quantity, 0.0)


def test_more_assurance_never_orders_less():
    quantities = [
        line(take(gable(44, 15, 6, scale_u=0.02), assurance=a), "field shingles").order.quantity
        for a in (0.05, 0.5, 0.9, 0.95, 0.99, 0.999)
    ]
    assert quantities == sorted(quantities) and quantities[0] < quantities[-1]


def test_one_seed_gives_one_takeoff():
    roof = hip(50, 30, 7, scale_u=0.01, corner_u_m=0.02)
    assert take(roof, seed=5) == take(roof, seed=5)


def test_another_seed_moves_a_quantity_by_no_more_than_its_draws_allow():
    roof = hip(50, 30, 7, scale_u=0.01, corner_u_m=0.02)
    one, two = (take(roof, seed=s) for s in (5, 6))
    for a, b in zip(one.lines, two.lines, strict=True):
        assert a.net.value == pytest.approx(b.net.value, rel=1e-12)
        if a.order is not None and b.order is not None:
            assert abs(a.order.quantity - b.order.quantity) <= 1


@settings(max_examples=25, deadline=None)
@given(factor=st.floats(0.3, 3), length=st.floats(20, 80), rise=st.floats(4.5, 18))
def test_quantities_grow_with_the_roof_as_areas_and_lengths_do(factor, length, rise):
    """Oracle: similarity; areas with the square, lengths with the first power."""
    small = take(gable(length, 15, rise), using=SYSTEM)
    large = take(gable(length * factor, 15 * factor, rise), using=SYSTEM)
    powers = {"sq": 2, "lf": 1, "lb": 2, "yd3": 2}
    for item in [x.item for x in small.lines]:
        a, b = line(small, item), line(large, item)
        if a.unit in powers and item != "ice barrier":
            assert b.net.value == pytest.approx(a.net.value * factor ** powers[a.unit])


def test_draws_have_the_mean_and_covariance_of_the_joint():
    """Oracle: definition; the mean exactly (mirrored pairs), the covariance within Monte Carlo error."""
    values = np.array([100.0, 50.0, 10.0])
    factor = np.array([[1.0, 0.0], [0.5, 0.2], [0.1, -0.3]])  # rank 2 in 3 dimensions
    joint = Joint(names=("area:A", "plan_area:A", "length:e1"), values=values, covariance=factor @ factor.T)
    draws = draw(joint, rng=np.random.default_rng(2), n=40_000)
    np.testing.assert_allclose(draws.values.mean(axis=0), values, rtol=1e-12)
    np.testing.assert_allclose(np.cov(draws.values.T), joint.covariance, atol=0.02)
    np.testing.assert_allclose(
        draws.combine({"area:A": 2, "length:e1": -1}), 2 * draws["area:A"] - draws["length:e1"]
    )


def test_waste_lies_between_its_two_stated_ends():
    """Oracle: a uniform share of exactly known squares; mean 8 %, 95 % of the interval of 1 to 15 %."""
    shingles = line(take(gable(40, 15, 6), using=with_a_stated_share()), "field shingles")
    net = shingles.net.value
    assert shingles.waste.value == pytest.approx(0.08 * net)
    assert shingles.waste.u == pytest.approx(0.14 * net / math.sqrt(12), rel=1e-3)
    assert shingles.waste.low == pytest.approx((0.01 + 0.025 * 0.14) * net, rel=1e-3)
    assert shingles.waste.high == pytest.approx((0.15 - 0.025 * 0.14) * net, rel=1e-3)


def test_uniform_shares_fill_every_slice_once():
    share = uniform_share(2.0, 4.0, rng=np.random.default_rng(0), n=8)
    np.testing.assert_allclose(np.sort(share), 2.125 + 0.25 * np.arange(8))
    assert not (np.diff(share) > 0).all()


def test_step_flashing_follows_the_fall_line_of_a_sidewall():
    """Oracle: 16 courses of 5 5/8 in are 7 ft 6 in; u of the pieces is that of the length."""
    step = line(take(lean_to(12, 7.5, 9, scale_u=0.01)), "step flashing")
    assert step.net.value == pytest.approx(16)
    assert step.net.u == pytest.approx(0.16)
    assert step.order.quantity == 17  # at 95 %: half of the draws need a seventeenth piece


def _ring_area(ring: np.ndarray) -> float:
    centred = ring - ring.mean(axis=0)
    return float(np.linalg.norm(np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0)) / 2)
