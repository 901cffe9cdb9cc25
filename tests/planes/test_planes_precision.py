"""The covariance of planes.  Oracles: closed forms, dense matrices, repeated simulation."""

import numpy as np
import pytest
from test_planes_stage import points_of

from simulate import airborne, photogrammetry, shapes
from simulate.fields import smooth_field
from simulate.handover import roof_points_of
from slopewright.geometry.moments import point_moments
from slopewright.planes import PlanesConfig, run
from slopewright.planes.atoms import Atoms, make_atoms
from slopewright.planes.model import PlaneSet, planes_of
from slopewright.planes.precision import (
    BEAM_BAND_M,
    LENGTHS_M,
    SPACING_BAND,
    Correlation,
    _edge_share,
    plane_covariance,
)
from slopewright.scene import PlaneSegment, Segmentation


def one_face(xyz: np.ndarray) -> tuple[Atoms, np.ndarray, PlaneSet]:
    atoms = make_atoms(xyz, PlanesConfig())
    labels = np.zeros(len(atoms), dtype=np.int32)
    return atoms, labels, planes_of(atoms, labels)


def field_of(rng: np.random.Generator, n: int, pitch: float = 0.5) -> np.ndarray:
    xy = rng.uniform([-5, -3], [5, 3], (n, 2))
    return np.column_stack([xy, pitch * xy[:, 1]])


def test_white_noise_gives_the_covariance_of_least_squares():
    """Oracle: sigma² (XᵀX)⁻¹ of a regression of height on plan, on the points themselves.

    The noise acts across the plane; in height it is larger by 1 / cos(pitch).  A dense cloud has no beams.
    """
    rng = np.random.default_rng(1)
    points = field_of(rng, 9000)
    upright = 1 / np.hypot(1, 0.5)
    points[:, 2] += rng.normal(0, 0.04 / upright, len(points))
    atoms, labels, planes = one_face(points)
    white = Correlation(white_m2=0.04**2, correlated_m2=np.zeros(len(LENGTHS_M)), length_m=0.0)
    found = plane_covariance(atoms, labels, planes, 0, white)

    plan = points[:, :2] - points[:, :2].mean(axis=0)
    design = np.column_stack([plan, np.ones(len(plan))])
    expected = (0.04 / upright) ** 2 * np.linalg.inv(design.T @ design)
    np.testing.assert_allclose(np.diag(found), np.diag(expected), rtol=0.1)


@pytest.mark.parametrize("length_m", [0.4, 1.6])
def test_correlated_noise_gives_the_covariance_of_the_dense_matrix(length_m):
    """Oracle: (XᵀX)⁻¹ Xᵀ K X (XᵀX)⁻¹ with the Matérn matrix of all points; cells blur it by a tenth."""
    rng = np.random.default_rng(2)
    points = field_of(rng, 900, pitch=0.0)
    points[:, 2] = rng.normal(0, 0.01, len(points))
    atoms, labels, planes = one_face(points)
    shares = np.where(np.isclose(LENGTHS_M, length_m), 1.0, 0.0) * 0.03**2
    noise = Correlation(white_m2=1e-12, correlated_m2=shares, length_m=length_m)
    found = plane_covariance(atoms, labels, planes, 0, noise)

    plan = points[:, :2] - points[:, :2].mean(axis=0)
    design = np.column_stack([plan, np.ones(len(plan))])
    r = np.sqrt(3) * np.linalg.norm(plan[:, None] - plan[None], axis=2) / length_m
    pull = np.linalg.solve(design.T @ design, design.T)
    expected = 0.03**2 * pull @ ((1 + r) * np.exp(-r)) @ pull.T
    np.testing.assert_allclose(np.diag(found), np.diag(expected), rtol=0.15)


def test_edges_that_err_turn_and_lift_a_face_as_said():
    """Oracle: repeated simulation; an error of each edge's band of its own, 4000 draws scatter by 2 %.

    The bands' middles lie 6 cm inside the edges: 8 % less turn on the short side.
    """
    rng = np.random.default_rng(6)
    x, y = np.meshgrid(np.arange(0.01, 6, 0.02), np.arange(0.01, 3, 0.02))
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    plan = np.column_stack([x.ravel(), y.ravel()])
    spacing = 0.4  # bands of 12 cm, six rows
    band = BEAM_BAND_M + SPACING_BAND * spacing
    sides = [plan[:, 0] < band, plan[:, 0] > 6 - band, plan[:, 1] < band, plan[:, 1] > 3 - band]
    plan = (plan - [3.0, 1.5]) @ turn.T
    design = np.column_stack([plan, np.ones(len(plan))])
    effect = np.linalg.lstsq(design, np.column_stack(sides).astype(float), rcond=None)[0]
    draws = rng.normal(size=(4000, 4)) @ effect.T
    moments = point_moments(np.column_stack([plan, np.zeros(len(plan))])).sum(axis=0)
    expected, found = draws.T @ draws / 4000, _edge_share(moments, spacing)
    np.testing.assert_allclose(found, expected, atol=0.1 * np.abs(expected).max())
    np.testing.assert_allclose(np.diag(found), np.diag(expected), rtol=0.15)


@pytest.mark.parametrize(("length_m", "density"), [(0.0, 20), (0.8, 20), (0.5, 400), (1.2, 400)])
def test_the_correlation_length_is_found_from_the_residuals(length_m, density):
    """Oracle: the field's own length, within a factor of two (one roof shows no more); 0 for white noise."""
    rng = np.random.default_rng(int(100 * length_m) + density)
    faces = []
    for k in range(4):
        points = field_of(rng, 60 * density)
        noise = rng.normal(0, 0.02, len(points))
        if length_m:
            noise = 0.5 * noise + 0.03 * smooth_field(points[:, :2], rng, length_m=length_m)
        points[:, 2] += noise
        faces.append(points + np.array([0.0, 20.0 * k, 0.0]))
    result = run(points_of(np.concatenate(faces)))
    if length_m:
        assert length_m / 2 < result.correlation_m < 2 * length_m
    else:
        assert result.correlation_m == 0.0


def scores(result: Segmentation, true_pitch_rad: float) -> list[float]:
    """Errors of the pitch in standard uncertainties, faces over 20 m²."""
    return [
        (np.arccos(plane.normal[2]) - true_pitch_rad) / pitch_u_rad(plane)
        for plane in result.planes
        if plane.area_m2 > 20
    ]


def pitch_u_rad(plane: PlaneSegment) -> float:
    slope = -plane.normal[:2] / plane.normal[2]
    square = slope @ slope
    return float(np.sqrt(slope @ plane.covariance[:2, :2] @ slope / square) / (1 + square))


def fresh_clouds(kind: str, n: int, span_m: float) -> np.ndarray:
    """Scores of all faces over fresh clouds of pyramids of random pitch."""
    found = []
    for seed in range(n):
        rng = np.random.default_rng([seed, 9])
        pitch = rng.uniform(0.25, 0.8)
        roof = shapes.pyramid(span_m=span_m, pitch_rad=pitch)
        if kind == "drone":
            sim = photogrammetry(roof, rng, density=400.0, correlation_m=rng.uniform(0.5, 1.0))
        else:  # strips fit: what a strip's own error does to a plane, residuals cannot show
            sim = airborne(
                roof,
                rng,
                density=float(kind),
                strip_lift_m=0.0,
                strip_shift_m=0.0,
                noise_m=rng.uniform(0.03, 0.08),
            )
        found += scores(run(roof_points_of(sim, roof)), pitch)
    return np.array(found)


@pytest.mark.parametrize(("kind", "n"), [("8", 20), ("25", 14), ("drone", 8)])
def test_pitch_errors_are_as_large_as_their_bounds_say(kind, n):
    """Oracle: repeated simulation.  Normalised errors have rms 1; over 32 to 80 faces it scatters by 0.1."""
    z = fresh_clouds(kind, n, 9.5)
    assert len(z) > 3.5 * n
    assert 0.7 < np.sqrt(np.mean(np.square(z))) < 1.3


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["8", "25", "drone"])
def test_95_percent_bounds_hold_for_90_to_98_percent(kind):
    """Oracle: repeated simulation, 100 fresh clouds of four faces; 95 % of 400 scatters by 1.1 %."""
    z = fresh_clouds(kind, 100, 9.5)
    assert 0.90 < np.mean(np.abs(z) < 1.96) < 0.985
