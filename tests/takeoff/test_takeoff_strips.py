"""Strips cut from stock: straight runs and pieces."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from slopewright import takeoff
from slopewright.takeoff.strips import pieces_pooled, pieces_without_reuse, plan_strips, straight_runs
from takeoff.takeoff_roofs import build_roof, gable, layer_of, line, system_document, take

lengths = st.floats(0.01, 60)


def laid_piece_by_piece(length: float, stock: float, lap: float) -> int:
    """Lay pieces one after another until the run is covered."""
    pieces, covered = 1, stock
    while covered < length - 1e-6 * (stock - lap):
        pieces, covered = pieces + 1, covered + stock - lap
    return pieces


@given(length=lengths, stock=st.floats(1, 6), lap=st.floats(0, 0.3))
def test_pieces_of_a_run_are_those_that_laying_takes(length, stock, lap):
    """Oracle: laying them."""
    assert pieces_without_reuse(np.array([length]), stock_m=stock, lap_m=lap) == laid_piece_by_piece(
        length, stock, lap
    )


@given(runs=st.lists(lengths, min_size=1, max_size=8), stock=st.floats(1, 6), lap=st.floats(0, 0.3))
def test_pooled_offcuts_need_no_more_pieces_than_none_reused(runs, stock, lap):
    """Oracle: bounds; nor less material than the runs are long."""
    arrays = [np.array([run]) for run in runs]
    pooled = float(pieces_pooled(arrays, stock_m=stock, lap_m=lap)[0])
    none = sum(laid_piece_by_piece(run, stock, lap) for run in runs)
    assert pooled <= none
    assert pooled * stock >= sum(runs) * (1 - 1e-5) - 1e-5 * stock


def test_offcuts_of_four_rakes_pool_into_fewer_pieces():
    """Oracle: by hand; four runs of 4 ft need four ten-foot pieces, or two, each cut in two."""
    runs = [np.array([4.0])] * 4
    assert sum(pieces_without_reuse(run, stock_m=10.0, lap_m=0.2) for run in runs) == 4
    assert pieces_pooled(runs, stock_m=10.0, lap_m=0.2) == 2


def test_pooling_does_not_save_the_laps():
    """Oracle: by hand; 40 ft with four laps of 2 in are 40.67 ft, five ten-foot pieces."""
    assert pieces_pooled([np.array([40.0])], stock_m=10.0, lap_m=2 / 12) == 5


def test_no_length_needs_no_piece():
    assert pieces_without_reuse(np.array([0.0]), stock_m=3.0, lap_m=0.1) == 0


@pytest.mark.parametrize(("offcuts", "pieces"), [("none", 8), ("pooled", 7)])
def test_the_order_follows_the_stated_policy(offcuts, pieces):
    """Oracle: by hand; four rakes of 16.77 ft take two pieces each, or 67.75 ft with their four laps."""
    document = system_document()
    layer_of(document, "drip edge at rakes")["package"]["offcuts"] = offcuts
    using = takeoff.system_from_toml(document, file="changed.toml")
    rakes = line(take(gable(40, 15, 6), using=using), "drip edge at rakes")
    assert rakes.order.quantity == pieces
    assert rakes.waste.low == pytest.approx(70 - rakes.net.value, abs=0.3)
    assert rakes.waste.high == pytest.approx(80 - rakes.net.value, abs=0.3)
    assert offcuts in rakes.rule


def two_piece_eave(bend_ft: float):
    """An eave of 4 + 4 ft whose middle corner stands off the line."""
    corners = [(0, 0, 0), (4, bend_ft, 0), (8, 0, 0), (8, 10, 5), (0, 10, 5)]
    edges = [("eave", 0, 1, "A"), ("eave", 1, 2, "A"), ("rake", 2, 3, "A"), ("ridge", 3, 4, "A")]
    return build_roof(corners, {"A": [0, 1, 2, 3, 4]}, edges)


def test_an_eave_in_two_straight_pieces_is_one_run():
    """Oracle: by hand; 8 ft are one ten-foot piece, two separate runs of 4 ft would be two."""
    roof = two_piece_eave(0.0)
    assert [len(run) for run in straight_runs(roof, roof.edges[:2])] == [2]
    assert line(take(roof), "drip edge at eaves").order.quantity == 1


def test_an_eave_with_a_corner_is_two_runs():
    roof = two_piece_eave(-2.0)
    assert [len(run) for run in straight_runs(roof, roof.edges[:2])] == [1, 1]
    assert line(take(roof), "drip edge at eaves").order.quantity == 2


def test_edges_that_fold_back_are_no_run():
    """A strip does not turn round: two edges from one corner in one direction are two runs."""
    corners = [(0, 0, 0), (8, 0, 0), (4, 0, 0), (8, 10, 5), (0, 10, 5)]
    roof = build_roof(corners, {"A": [0, 1, 3, 4]}, [("eave", 0, 1, "A"), ("eave", 0, 2, "A")])
    assert [len(run) for run in straight_runs(roof, roof.edges)] == [1, 1]


def test_rests_of_unequal_runs_share_a_piece():
    """Oracle: by hand; 16 and 13 ft with laps of 0.2 ft leave rests of 6.2 and 3.2 ft, cut from one piece."""
    plan = plan_strips([16.0, 13.0], stock_m=10.0, lap_m=0.2)
    assert (plan.pieces, plan.whole_pieces, plan.few_joints.pieces) == (3, 2, 1)
    assert plan.proven


def test_offcuts_that_begin_the_next_run_save_a_piece_for_more_laps():
    """Oracle: by hand; 4 x 16.77 ft: 10, 6.94 | 3.06, 10, 4.04 | 5.96, 10, 1.14 | 8.86, 8.08."""
    plan = plan_strips([16.77] * 4, stock_m=10.0, lap_m=2 / 12)
    assert plan.whole_pieces + plan.few_joints.pieces == 8
    assert (plan.pieces, plan.proven) == (7, True)


@given(runs=st.lists(lengths, min_size=1, max_size=8), stock=st.floats(1, 6), lap=st.floats(0, 0.3))
def test_a_plan_lies_between_its_bound_and_no_reuse(runs, stock, lap):
    """Oracle: bounds; draws that all are the best lengths take no fewer than their plan."""
    plan = plan_strips(runs, stock_m=stock, lap_m=lap)
    none = sum(laid_piece_by_piece(run, stock, lap) for run in runs)
    drawn = pieces_pooled([np.full(2, run) for run in runs], stock_m=stock, lap_m=lap)
    assert plan.bound <= plan.pieces <= drawn[0] == drawn[1] <= none
