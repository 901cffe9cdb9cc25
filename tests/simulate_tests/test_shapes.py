"""The simulated roofs themselves: areas, edges and kinds against arithmetic done by hand.

Slope and hip factors by definition: sqrt(1 + (p/12)²) and sqrt(2 + (p/12)²), each times the common run.
"""

import functools
import itertools
import math

import numpy as np
import pytest
import shapely

from simulate import KINDS, mirror, move, random_roof, shapes
from simulate.envelope import build
from simulate.layout import centred, gable_planes, hip_planes
from simulate.wings import Wing
from slopewright.scene import EdgeKind
from slopewright.units import FOOT_M

SIX = math.atan(6 / 12)
NINE = math.atan(9 / 12)
SLOPE = {4: math.sqrt(1 + 1 / 9), 6: math.sqrt(1.25), 9: 1.25, 12: math.sqrt(2)}
HIP = {6: 1.5, 9: math.sqrt(2.5625)}


def lengths(roof, kind):
    """Lengths of the edges of a kind [m], shortest first."""
    return sorted(e.length_m for e in roof.edges if e.kind == kind)


def check_edges(roof, **expected):
    """Every kind has these lengths, and there is no other kind."""
    assert {e.kind.value for e in roof.edges} == set(expected)
    for kind, values in expected.items():
        assert lengths(roof, kind) == pytest.approx(sorted(values), abs=1e-6), kind


@pytest.mark.parametrize("rise", [2, 4, 6, 7, 8, 9, 12, 18])
@pytest.mark.parametrize("kind", [shapes.gable, shapes.hip])
def test_area_is_plan_times_slope_factor(kind, rise):
    """Oracle: slope factor, by definition; plan 14.8 x 9.8 m."""
    roof = kind(length_m=14, span_m=9, pitch_rad=math.atan(rise / 12), overhang_m=0.4)
    assert roof.plan_area_m2 == pytest.approx(14.8 * 9.8)
    assert roof.area_m2 == pytest.approx(14.8 * 9.8 * math.sqrt(1 + (rise / 12) ** 2))


def test_a_hip_roof_has_the_area_of_a_gable_roof():
    """Oracle: Estimating in Building Construction, sec. 14-11: same span, pitch and length, same area."""
    common = {"length_m": 13.0, "span_m": 8.0, "pitch_rad": 0.5}
    assert shapes.hip(**common).area_m2 == pytest.approx(shapes.gable(**common).area_m2)


def test_handbook_hip_rafter():
    """Oracle: NAVEDTRA 14044: run 15 ft at 8 in 12 has a hip of 23.45 ft and a rise of 10 ft."""
    roof = shapes.pyramid(span_m=30 * FOOT_M, pitch_rad=math.atan(8 / 12), overhang_m=0.0, eave_z_m=3.0)
    assert lengths(roof, "hip") == pytest.approx([23.45 * FOOT_M] * 4, abs=0.005 * FOOT_M)
    top = max(p.outer[:, 2].max() for p in roof.planes)
    assert top - 3.0 == pytest.approx(10 * FOOT_M)


def test_handbook_rafter_and_area():
    """Oracle: NAVEDTRA 14044: span 16 ft at 7 in 12: 111 1/8 in; 1,600 ft² at 6 in 12: 1,788.8 ft²."""
    roof = shapes.gable(length_m=10, span_m=16 * FOOT_M, pitch_rad=math.atan(7 / 12), overhang_m=0.0)
    assert lengths(roof, "rake")[0] == pytest.approx(111.125 / 12 * FOOT_M, abs=0.0625 / 12 * FOOT_M)
    plan = shapes.gable(length_m=40 * FOOT_M, span_m=40 * FOOT_M, pitch_rad=SIX, overhang_m=0.0)
    assert plan.area_m2 == pytest.approx(1788.8 * FOOT_M**2, rel=1e-4)


def test_gable():
    roof = shapes.gable(length_m=10, span_m=8, pitch_rad=SIX, overhang_m=0.4)
    check_edges(roof, eave=[10.8] * 2, ridge=[10.8], rake=[4.4 * SLOPE[6]] * 4)
    assert sorted(math.degrees(p.azimuth_rad) for p in roof.planes) == pytest.approx([0, 180])


def test_hip():
    roof = shapes.hip(length_m=10, span_m=8, pitch_rad=SIX, overhang_m=0.4)
    check_edges(roof, eave=[8.8, 8.8, 10.8, 10.8], ridge=[2.0], hip=[4.4 * HIP[6]] * 4)


def test_the_high_edge_of_a_shed_counts_as_a_rake():
    roof = shapes.shed(length_m=10, span_m=8, pitch_rad=SIX, overhang_m=0.4)
    check_edges(roof, eave=[10.8], rake=[10.8, 8.8 * SLOPE[6], 8.8 * SLOPE[6]])


def test_cross_gable():
    """The wing's common run is 3.4 m, so its ridge dies into the main slope 3.4 m behind the eave."""
    roof = shapes.cross_gable(
        length_m=12, span_m=8, pitch_rad=SIX, wing_span_m=6, wing_projection_m=3, overhang_m=0.4
    )
    check_edges(
        roof,
        eave=[12.8, 3.0, 3.0, 3.0, 3.0],
        ridge=[12.8, 3.0 + 3.4],
        rake=[4.4 * SLOPE[6]] * 4 + [3.4 * SLOPE[6]] * 2,
        valley=[3.4 * HIP[6]] * 2,
    )
    assert roof.area_m2 == pytest.approx((12.8 * 8.8 + 6.8 * 3) * SLOPE[6])


def test_cross_gable_with_ridges_at_one_height():
    """Both valleys end on the main ridge, which they cut in two, and the front slope with it."""
    roof = shapes.cross_gable(
        length_m=12, span_m=8, pitch_rad=SIX, wing_span_m=8, wing_projection_m=3, overhang_m=0.4
    )
    assert len(roof.planes) == 5
    assert len({p.surface for p in roof.planes}) == 4
    check_edges(
        roof,
        eave=[12.8, 3.0, 3.0, 2.0, 2.0],
        ridge=[6.4, 6.4, 3.0 + 4.4],
        rake=[4.4 * SLOPE[6]] * 6,
        valley=[4.4 * HIP[6]] * 2,
    )


def test_cross_gable_of_two_pitches():
    """At 4 in 12 the wing rises 3.4 / 3 m; the main slope is that high 2 x 3.4 / 3 m behind its eave."""
    roof = shapes.cross_gable(
        length_m=12,
        span_m=8,
        pitch_rad=SIX,
        wing_span_m=6,
        wing_projection_m=3,
        wing_pitch_rad=math.atan(4 / 12),
        overhang_m=0.4,
    )
    rise = 3.4 / 3
    assert lengths(roof, "valley") == pytest.approx([math.hypot(3.4, 2 * rise, rise)] * 2)
    assert lengths(roof, "ridge") == pytest.approx([3.0 + 2 * rise, 12.8])


def test_a_wing_higher_than_the_main_ridge_is_refused():
    with pytest.raises(ValueError, match="higher than the main ridge"):
        shapes.cross_gable(length_m=12, span_m=8, pitch_rad=SIX, wing_span_m=9, wing_projection_m=3)


def test_l_hip_of_equal_widths():
    """Every crease is a hip of run 3 m; the perimeter is that of the 12 x 11 m box."""
    roof = shapes.l_hip(
        length_m=12, span_m=6, pitch_rad=SIX, wing_span_m=6, wing_projection_m=5, overhang_m=0.0
    )
    check_edges(
        roof,
        eave=[12, 6, 6, 5, 6, 11],
        hip=[3 * HIP[6]] * 5,
        valley=[3 * HIP[6]],
        ridge=[12 - 6, 11 - 6],
    )
    assert roof.area_m2 == pytest.approx((12 * 6 + 6 * 5) * SLOPE[6])


def test_l_hip_of_unequal_widths():
    """The wing's ridge is 1 m up, the main one 1.5: a hip of run 1 m leads from one to the other."""
    roof = shapes.l_hip(
        length_m=12, span_m=6, pitch_rad=SIX, wing_span_m=4, wing_projection_m=5, overhang_m=0.0
    )
    check_edges(
        roof,
        eave=[12, 6, 8, 5, 4, 11],
        hip=[r * HIP[6] for r in (3, 3, 3, 2, 2, 1)],
        valley=[2 * HIP[6]],
        ridge=[6, 5],
    )


def test_lower_shed_under_an_overhang():
    """The wall's edge is seen at the upper eave; a strip as wide as the overhang goes on out of sight."""
    roof = shapes.two_level(
        length_m=12,
        span_m=8,
        pitch_rad=SIX,
        lower_width_m=6,
        lower_depth_m=3,
        lower_pitch_rad=math.atan(4 / 12),
        overhang_m=0.4,
        upper_overhang_m=0.3,
    )
    check_edges(
        roof,
        eave=[12.6, 12.6, 6.8],
        ridge=[12.6],
        rake=[4.3 * SLOPE[6]] * 4 + [3.1 * SLOPE[4]] * 2,
        headwall=[6.8],
    )
    assert sum(p.hidden_m2 for p in roof.planes) == pytest.approx(6.8 * 0.3 * SLOPE[4])


def test_lower_gable_against_a_flush_wall():
    roof = shapes.two_level(
        length_m=12,
        span_m=8,
        pitch_rad=SIX,
        lower="gable",
        side="gable",
        lower_width_m=5.2,
        lower_depth_m=3,
        lower_pitch_rad=math.atan(4 / 12),
        overhang_m=0.4,
        upper_overhang_m=0.0,
    )
    check_edges(
        roof,
        eave=[12, 12, 3.4, 3.4],
        ridge=[12, 3.4],
        rake=[4 * SLOPE[6]] * 4 + [3 * SLOPE[4]] * 2,
        sidewall=[3 * SLOPE[4]] * 2,
    )
    assert all(p.hidden_m2 == 0 for p in roof.planes)


def test_gable_dormer():
    """Main slope 3 + 0.75 (y + 5.4), dormer eave at 3.75 + 1 = 4.75 m, which the slope reaches at y = -46/15,
    dormer ridge 0.75 x 1.2 m higher, which it reaches 1.2 m farther."""
    roof = shapes.gable_dormer(
        length_m=12,
        span_m=10,
        pitch_rad=NINE,
        dormer_width_m=2,
        dormer_pitch_rad=NINE,
        dormer_front_m=0.6,
        dormer_wall_m=1.0,
        dormer_overhang_m=0.2,
        overhang_m=0.4,
        eave_z_m=3.0,
    )
    side = 4.6 - 46 / 15
    check_edges(
        roof,
        eave=[12.8, 12.8, side, side],
        ridge=[12.8, side + 1.2],
        rake=[5.4 * 1.25] * 4 + [1.2 * 1.25] * 2,
        sidewall=[side * 1.25] * 2,
        headwall=[2.4],
        valley=[1.2 * HIP[9]] * 2,
    )
    # under the dormer's front 2.4 x 0.2 m; beside it 0.2 m wide, side - 0.1 m long
    assert sum(p.hidden_m2 for p in roof.planes) == pytest.approx((0.48 + 2 * 0.2 * (side - 0.1)) * 1.25)


def test_shed_dormer():
    """The dormer starts 1.0 m above a slope of 0.75 and rises 0.25: they close by 0.5 a metre."""
    roof = shapes.shed_dormer(
        length_m=12,
        span_m=10,
        pitch_rad=NINE,
        dormer_width_m=3,
        dormer_pitch_rad=math.atan(3 / 12),
        dormer_front_m=0.6,
        dormer_wall_m=1.0,
        dormer_overhang_m=0.2,
        overhang_m=0.4,
    )
    depth = (1.0 + 0.2 * 0.75) / 0.5
    check_edges(
        roof,
        eave=[12.8, 12.8, 3.4],
        ridge=[12.8],
        rake=[5.4 * 1.25] * 4 + [depth * math.hypot(1, 0.25)] * 2,
        sidewall=[depth * 1.25] * 2,
        headwall=[3.4],
        pitch_break=[3.4],
    )


def test_gambrel():
    roof = shapes.gambrel(
        length_m=10, span_m=8, pitch_rad=math.atan(2), upper_pitch_rad=SIX, break_m=1.4, overhang_m=0.4
    )
    steep, flat = 1.4 * math.sqrt(5), 3.0 * SLOPE[6]
    check_edges(roof, eave=[10.8] * 2, pitch_break=[10.8] * 2, ridge=[10.8], rake=[steep] * 4 + [flat] * 4)
    assert roof.area_m2 == pytest.approx(2 * 10.8 * (steep + flat))


def test_mansard():
    roof = shapes.mansard(
        length_m=10, span_m=8, pitch_rad=math.atan(2), upper_pitch_rad=SIX, break_m=1.4, overhang_m=0.4
    )
    check_edges(
        roof,
        eave=[10.8, 10.8, 8.8, 8.8],
        pitch_break=[8.0, 8.0, 6.0, 6.0],
        hip=[1.4 * math.sqrt(6)] * 4 + [3.0 * HIP[6]] * 4,
        ridge=[2.0],
    )


def test_half_hip():
    """Clipped over the upper 40 % of a run of 4.4 m: small hips of run 1.76 m."""
    roof = shapes.half_hip(length_m=10, span_m=8, pitch_rad=SIX, overhang_m=0.4, clip=0.4)
    run = 0.4 * 4.4
    check_edges(
        roof,
        eave=[10.8, 10.8, 2 * run, 2 * run],
        rake=[(4.4 - run) * SLOPE[6]] * 4,
        hip=[run * HIP[6]] * 4,
        ridge=[10.8 - 2 * run],
    )


def test_saltbox():
    roof = shapes.saltbox(length_m=10, span_m=8, pitch_rad=SIX, overhang_m=0.4, ridge_y_m=-1.0)
    check_edges(roof, eave=[10.8] * 2, ridge=[10.8], rake=[3.4 * SLOPE[6]] * 2 + [5.4 * SLOPE[6]] * 2)


def test_gablet():
    """The hip's ridge is 10.8 - 8.8 = 2 m; gables 1.2 m beyond leave hips of run 4.4 - 1.2 m below them."""
    roof = shapes.gablet(length_m=10, span_m=8, pitch_rad=SIX, overhang_m=0.4, gablet_run_m=1.2)
    check_edges(
        roof,
        eave=[10.8, 10.8, 8.8, 8.8],
        ridge=[2.0 + 2.4],
        hip=[3.2 * HIP[6]] * 4,
        rake=[1.2 * SLOPE[6]] * 4,
        headwall=[2.4] * 2,
    )


def test_porch():
    roof = shapes.porch(
        length_m=10,
        span_m=8,
        pitch_rad=SIX,
        porch_width_m=6,
        porch_depth_m=2.4,
        porch_pitch_rad=math.atan(2 / 12),
        overhang_m=0.4,
    )
    check_edges(
        roof,
        eave=[10.8, 2.4, 2.4, 6.0],
        pitch_break=[6.0],
        ridge=[10.8],
        rake=[4.4 * SLOPE[6]] * 4 + [2.4 * math.hypot(1, 1 / 6)] * 2,
    )


def test_unequal_hip():
    """Level eaves all round; each slope has its own pitch, and the ridge divides the width as 1/tan does."""
    roof = shapes.unequal_hip(
        length_m=14,
        span_m=9,
        pitches_rad=(SIX, NINE, math.atan(1), math.atan(0.25)),
        overhang_m=0.0,
        eave_z_m=3.0,
    )
    rises = sorted(12 * math.tan(p.pitch_rad) for p in roof.planes)
    assert rises == pytest.approx([3, 6, 9, 12])
    assert lengths(roof, "eave") == pytest.approx([9, 9, 14, 14])
    height = 9 / (1 / 0.5 + 1 / 0.75)  # runs from front and back, height / 0.5 + height / 0.75, fill 9 m
    (ridge,) = [e for e in roof.edges if e.kind == EdgeKind.RIDGE]
    assert ridge.start[2] - 3 == pytest.approx(height)
    assert ridge.length_m == pytest.approx(14 - height / 1 - height / 0.25)


def test_tee_with_a_hipped_wing():
    """Wing common run 3 m at 6 in 12, equal eaves: hips and valleys of 3 m run, a ridge of 4 m between."""
    roof = shapes.tee(
        main_end="gable",
        wing_end="hip",
        length_m=12,
        span_m=8,
        pitch_rad=SIX,
        wing_span_m=6,
        wing_projection_m=4,
        wing_pitch_rad=SIX,
        overhang_m=0.0,
    )
    check_edges(
        roof,
        eave=[12, 3, 3, 4, 4, 6],
        ridge=[12, 4.0],
        rake=[4 * SLOPE[6]] * 4,
        hip=[3 * HIP[6]] * 2,
        valley=[3 * HIP[6]] * 2,
    )


def test_tee_with_a_higher_wing():
    """The wing's eaves, 1 m up, meet the main slope 2 m behind its eave; there its valleys begin.

    They end 2 m farther on the main ridge, which is as high as the wing's.
    """
    roof = shapes.tee(
        main_end="gable",
        wing_end="gable",
        length_m=12,
        span_m=8,
        pitch_rad=SIX,
        wing_span_m=4,
        wing_projection_m=3,
        wing_pitch_rad=SIX,
        wing_lift_m=1.0,
        overhang_m=0.0,
    )
    check_edges(
        roof,
        eave=[12, 4, 4, 5, 5],
        ridge=[6, 6, 3 + 4],
        rake=[4 * SLOPE[6]] * 4 + [2 * SLOPE[6]] * 2,
        sidewall=[2 * SLOPE[6]] * 2,
        valley=[2 * HIP[6]] * 2,
    )


def test_ell_of_gables():
    """The main ridge, 2 m up, runs into the wing's slope 4 m behind its eave; the wing's is 2.5 m up."""
    roof = shapes.ell(
        end="gable",
        length_m=14,
        span_m=8,
        pitch_rad=SIX,
        wing_span_m=10,
        wing_projection_m=3,
        wing_pitch_rad=SIX,
        overhang_m=0.0,
    )
    check_edges(
        roof,
        eave=[11, 3, 4, 4],
        ridge=[11, 4 + 4],
        rake=[4 * SLOPE[6]] * 2 + [5 * SLOPE[6]] * 4,
        valley=[4 * HIP[6]] * 2,
    )


def test_lower_hip_against_a_wall():
    """Run 3 m of the sides and of the front, 4 m deep: a ridge of 1 m into the wall, two sidewalls."""
    roof = shapes.step_down(
        main_end="hip",
        lower="hip",
        length_m=12,
        span_m=8,
        pitch_rad=SIX,
        lower_x_m=1.0,
        lower_width_m=6,
        lower_depth_m=4,
        lower_pitch_rad=SIX,
        overhang_m=0.0,
        upper_overhang_m=0.0,
    )
    check_edges(
        roof,
        eave=[12, 12, 8, 8, 4, 4, 6],
        ridge=[4, 1],
        hip=[4 * HIP[6]] * 4 + [3 * HIP[6]] * 2,
        sidewall=[3 * SLOPE[6]] * 2,
    )


def test_dormer_through_the_eave():
    """The wall goes on up 1 m: the main eave stops at its sides, the dormer's sides rise from there.

    The slope reaches the dormer's eave 2 m behind the wall, its ridge 0.5 m higher another 1 m.
    """
    roof = shapes.dormered(
        main_end="hip",
        dormer_roof="gable",
        length_m=14,
        span_m=10,
        pitch_rad=SIX,
        dormer_width_m=2,
        dormer_pitch_rad=SIX,
        dormer_front_m=0.0,
        dormer_wall_m=1.0,
        dormer_overhang_m=0.0,
        overhang_m=0.4,
    )
    check_edges(
        roof,
        eave=[14.8, 10.8, 10.8, 6.4, 6.4, 2, 2],
        rake=[SLOPE[6]] * 2 + [0.4 * SLOPE[6]] * 2,
        ridge=[4, 3],
        hip=[5.4 * HIP[6]] * 4,
        sidewall=[2 * SLOPE[6]] * 2,
        valley=[HIP[6]] * 2,
    )


def test_cricket():
    """2 m broad at the pitch of the roof: its ridge is level and 1 m long in plan, its valleys of run 1 m."""
    roof = shapes.chimney_cricket(
        length_m=12,
        span_m=9,
        pitch_rad=NINE,
        chimney_width_m=2,
        chimney_depth_m=0.7,
        chimney_x_m=1.0,
        chimney_back_m=2.0,
        cricket_pitch_rad=NINE,
    )
    assert lengths(roof, "ridge") == pytest.approx([1.0, 12.8])
    assert lengths(roof, "valley") == pytest.approx([HIP[9]] * 2)
    (stack,) = move(roof, 0.5, (0.0, 0.0, 1.0)).stacks
    assert stack.centre == pytest.approx(
        (math.cos(0.5) + 2.35 * math.sin(0.5), math.sin(0.5) - 2.35 * math.cos(0.5))
    )
    assert stack.turn_rad == pytest.approx(0.5)


@pytest.mark.parametrize("seed", range(4))
def test_composite_roofs_have_12_to_20_planes(seed):
    assert 12 <= len(drawn("composite", seed).planes) <= 20


DRAWN = [(kind, seed) for kind in KINDS for seed in range(4)]


@functools.cache
def drawn(kind, seed):
    return random_roof(kind, np.random.default_rng([seed, KINDS.index(kind)]))


@pytest.mark.parametrize(("kind", "seed"), DRAWN)
def test_faces_tile_the_plan(kind, seed):
    """Their union has the sum of their areas."""
    roof = drawn(kind, seed)
    assert roof.footprint.area == pytest.approx(roof.plan_area_m2, abs=1e-4)
    for p, q in itertools.combinations(roof.planes, 2):
        assert p.plan.intersection(q.plan).area < 1e-6


@pytest.mark.parametrize(("kind", "seed"), DRAWN)
def test_corners_lie_on_their_plane_and_area_is_that_of_the_polygon(kind, seed):
    """Oracle: half the sum of cross products (Newell), in space, where the envelope multiplies plan areas."""
    for plane in drawn(kind, seed).planes:
        np.testing.assert_allclose(plane.outer @ plane.normal, plane.offset, atol=1e-6)
        rings = [plane.outer, *plane.holes]
        vector = sum(np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0) for ring in rings) / 2
        np.testing.assert_allclose(vector, plane.area_m2 * plane.normal, atol=1e-5)


@pytest.mark.parametrize(("kind", "seed"), DRAWN)
def test_every_face_is_closed_by_its_edges(kind, seed):
    """The edges that name a face have together the length of its rings, and both ends on its plane."""
    roof = drawn(kind, seed)
    for k, plane in enumerate(roof.planes):
        own = [e for e in roof.edges if k in e.planes]
        rings = [np.vstack([ring, ring[:1]]) for ring in (plane.outer, *plane.holes)]
        around = sum(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum() for ring in rings)
        assert sum(e.length_m for e in own) == pytest.approx(around, abs=1e-5)
        for edge in own:
            for end in (edge.start, edge.end):
                assert end @ plane.normal == pytest.approx(plane.offset, abs=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_no_face_or_edge_is_a_splinter(kind):
    least_m2 = 0.1 if kind == "chimney_cricket" else 0.5  # half a cricket behind a chimney 0.9 m broad
    for seed in range(4 if kind == "composite" else 10):
        roof = drawn(kind, seed)
        assert min(p.area_m2 for p in roof.planes) > least_m2
        assert min(e.length_m for e in roof.edges) > 0.2


@pytest.mark.parametrize("seed", range(5))
def test_the_roof_is_the_highest_of_the_lowest_planes(seed):
    """Oracle: max over wings of min over planes, point by point, for three wings thrown together."""
    rng = np.random.default_rng(seed)
    wings = []
    for _ in range(3):
        x, y = rng.uniform(-3, 3, 2)
        box = tuple(np.add(centred(*rng.uniform(4, 10, 2)), (x, y, x, y)))
        planes = (gable_planes, hip_planes)[rng.integers(2)](box, rng.uniform(0.2, 0.9), rng.uniform(2, 5))
        corners = tuple((float(box[i]), float(box[j])) for i, j in ((0, 1), (2, 1), (2, 3), (0, 3)))
        wings.append(Wing(plan=corners, walls=(), planes=planes))
    roof = build("heap", wings)
    points = rng.uniform(-9, 9, (500, 2))
    heights = np.full(500, -np.inf)
    for wing in wings:
        inside = shapely.contains_xy(shapely.Polygon(wing.plan), *points.T)
        heights = np.where(inside, np.maximum(heights, wing.height(points)), heights)
    seen = np.full(500, -np.inf)
    for plane in roof.planes:
        inside = shapely.contains_xy(plane.plan, *points.T)
        seen[inside] = plane.height(points[inside])
    np.testing.assert_allclose(seen, heights, atol=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_turning_turns_azimuths_and_nothing_else(kind):
    roof = drawn(kind, 0)
    moved = move(roof, 0.7, (100.0, -50.0, 3.0))
    assert moved.area_m2 == roof.area_m2
    for old, new in zip(roof.planes, moved.planes, strict=True):
        turn = math.remainder(new.azimuth_rad - old.azimuth_rad, 2 * math.pi)
        assert turn == pytest.approx(-0.7)  # clockwise azimuth, counter-clockwise turn
        np.testing.assert_allclose(new.outer @ new.normal, new.offset, atol=1e-6)
    assert [e.kind for e in moved.edges] == [e.kind for e in roof.edges]
    assert sum(e.length_m for e in moved.edges) == pytest.approx(sum(e.length_m for e in roof.edges))


@pytest.mark.parametrize("kind", KINDS)
def test_mirroring_keeps_rings_counter_clockwise(kind):
    roof = mirror(drawn(kind, 0))
    for plane in roof.planes:
        assert shapely.LinearRing(plane.outer[:, :2]).is_ccw
        np.testing.assert_allclose(plane.outer @ plane.normal, plane.offset, atol=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_walls_go_round_the_body_and_end_at_the_roof(kind):
    """Walls from the ground up enclose what the overhang leaves of the footprint."""
    roof = drawn(kind, 1)
    lines = [shapely.LineString([w.start, w.end]) for w in roof.walls]
    assert all(shapely.buffer(roof.footprint, 1e-6).covers(line) for line in lines)
    for wall in roof.walls:
        middle = (wall.start + wall.end)[None] / 2
        on = [p for p in roof.planes if p.plan.distance(shapely.Point(middle[0])) < 1e-6]
        top = sum(wall.top_m) / 2
        assert top <= max(float(p.height(middle)[0]) for p in on) + 1e-6
        assert wall.foot_m is None or sum(wall.foot_m) / 2 < top


def test_a_draw_keeps_to_its_ranges():
    for seed, kind in itertools.product(range(10), ("gable", "hip", "cross_gable")):
        roof = drawn(kind, seed)
        for plane in roof.planes:
            assert math.atan(1.7 / 12) <= plane.pitch_rad <= math.atan(18 / 12) + 1e-9
        eaves = [e for e in roof.edges if e.kind == EdgeKind.EAVE]
        assert all(2.4 <= e.start[2] <= 6.0 for e in eaves)
