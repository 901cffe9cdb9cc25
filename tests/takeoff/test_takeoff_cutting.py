"""Stock cut to wanted lengths: pieces, bound and proof."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slopewright.errors import InputError
from slopewright.takeoff.cutting import count_first_fit, cut_stock


def fewest_by_trying_all(lengths: list[float], stock: float) -> int:
    """Every way to put each length into an open piece or a new one."""
    best = len(lengths)

    def place(at: int, left: list[float]) -> None:
        nonlocal best
        if len(left) >= best:
            return
        if at == len(lengths):
            best = len(left)
            return
        for i, rest in enumerate(left):
            if lengths[at] <= rest + 1e-6 * stock:
                place(at + 1, [*left[:i], rest - lengths[at], *left[i + 1 :]])
        place(at + 1, [*left, stock - lengths[at]])

    place(0, [])
    return best


def check_plan(plan, lengths: list[float], stock: float) -> None:
    """Every wanted length is cut once, and no piece holds more than its length."""
    assert sorted(itertools.chain(*plan.cuts)) == sorted(lengths)
    assert all(sum(cut) <= stock * (1 + 2e-6) for cut in plan.cuts)
    assert plan.bound <= plan.pieces


@settings(max_examples=150)
@given(
    lengths=st.lists(st.integers(5, 95).map(lambda k: k / 10), min_size=1, max_size=8),
)
def test_small_cases_are_cut_from_the_fewest_pieces_and_proved(lengths):
    """Oracle: trying every way."""
    plan = cut_stock(lengths, stock=10.0)
    check_plan(plan, lengths, 10.0)
    assert plan.pieces == plan.bound == fewest_by_trying_all(lengths, 10.0)


def test_the_search_finds_what_first_fit_misses():
    """Oracle: by hand; 6 + 2 + 2 and 3 + 3 + 2 + 2 fill two pieces; first fit puts 6 + 3, and needs three."""
    lengths = [6.0, 3.0, 3.0, 2.0, 2.0, 2.0, 2.0]
    assert count_first_fit(np.array([lengths]), stock=10.0) == 3
    assert cut_stock(lengths, stock=10.0).pieces == 2


def test_a_published_order_of_four_widths_takes_453_rolls():
    """Oracle: V. Chvatal, Linear Programming, 1983, ch. 13 (from memory): linear optimum 452.25."""
    lengths = [45.0] * 97 + [36.0] * 610 + [31.0] * 395 + [14.0] * 211
    plan = cut_stock(lengths, stock=100.0)
    check_plan(plan, lengths, 100.0)
    assert (plan.pieces, plan.proven) == (453, True)


def test_a_published_order_of_thirteen_widths_takes_73_rolls():
    """Oracle: a general encyclopedia's worked example of the problem (from memory): 73 rolls."""
    wanted = {1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20}
    wanted |= {2000: 10, 2050: 12, 2100: 14, 2140: 16, 2150: 18, 2200: 20}
    lengths = [float(width) for width, times in wanted.items() for _ in range(times)]
    plan = cut_stock(lengths, stock=5600.0)
    check_plan(plan, lengths, 5600.0)
    assert (plan.pieces, plan.proven) == (73, True)


def test_the_bound_is_above_the_length_where_pairs_do_not_fit():
    """Oracle: by hand; no two lengths of 6 fit into 10, so seven pieces, though 42 / 10 rounds up to 5."""
    plan = cut_stock([6.0] * 7, stock=10.0)
    assert (plan.pieces, plan.bound) == (7, 7)


def test_thirds_of_a_piece_fill_it():
    """Oracle: by hand; rounding of feet to metres does not cost a piece."""
    assert cut_stock([10 / 3 * 0.3048] * 6, stock=10 * 0.3048).pieces == 2


@given(
    rows=st.lists(st.lists(st.floats(0, 10), min_size=5, max_size=5), min_size=1, max_size=4),
)
def test_rows_are_counted_as_first_fit_decreasing_counts_them(rows):
    """Oracle: first fit decreasing, one length after another."""
    for row, counted in zip(rows, count_first_fit(np.array(rows), stock=10.0), strict=True):
        left: list[float] = []
        for length in sorted((x for x in row if x > 1e-4), reverse=True):
            at = next((i for i, rest in enumerate(left) if rest >= length), None)
            if at is None:
                left.append(10.0 * (1 + 1e-6))
                at = len(left) - 1
            left[at] -= length
        if all(x == 0 or x > 1e-4 for x in row):
            assert counted == len(left)


def test_a_plan_of_many_lengths_is_the_same_again():
    lengths = np.random.default_rng(8).uniform(0.5, 9.5, 45).tolist()
    assert cut_stock(lengths, stock=10.0) == cut_stock(lengths, stock=10.0)


@pytest.mark.parametrize("length", [0.0, -1.0, 10.1, float("nan")])
def test_a_length_that_no_piece_holds_is_refused(length):
    with pytest.raises(InputError, match="lengths: got"):
        cut_stock([length], stock=10.0)
