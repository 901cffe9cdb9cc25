"""Creases that growing ran over, points that belong to no face, strips along a ridge.  Oracle: definition."""

import numpy as np
import pytest
from test_planes_stage import points_of

from slopewright.planes import PlanesConfig, run
from slopewright.planes.atoms import make_atoms
from slopewright.planes.creases import dissolve_creases
from slopewright.planes.model import planes_of
from slopewright.planes.split import split_bent


def bent(seed: int, density: float, turn_deg: float, noise_m: float) -> np.ndarray:
    """Two faces of 4 m depth and 8 m width that meet along x = 0, 20 degrees and more."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform([-4, -4], [4, 4], (int(64 * density), 2))
    rise = np.where(xy[:, 0] < 0, np.tan(np.radians(20)), np.tan(np.radians(20 + turn_deg)))
    return np.column_stack([xy, xy[:, 0] * rise + rng.normal(0, noise_m, len(xy))])


@pytest.mark.parametrize(("density", "noise_m"), [(8.0, 0.05), (25.0, 0.05), (300.0, 0.015)])
@pytest.mark.parametrize("turn_deg", [0.0, 10.0])
def test_a_plane_over_a_crease_is_cut_along_it_and_a_flat_one_is_not(density, noise_m, turn_deg):
    """Oracle: definition; all points in one plane to begin with."""
    points = bent(4, density, turn_deg, noise_m)
    config = PlanesConfig()
    atoms = make_atoms(points, config)
    labels = split_bent(atoms, np.zeros(len(atoms), dtype=np.int32), noise_m, config)
    if turn_deg == 0.0:
        assert (labels == 0).all()
    else:
        x = atoms.centre[:, 0] + atoms.origin[0]
        far = np.abs(x) > 0.7  # a strip's width and the turn of the directions tried
        own = labels[far][x[far] > 0]
        assert labels.max() == 1
        assert np.mean(own == own[0]) > 0.98
        assert np.mean(labels[far][x[far] < 0] != own[0]) > 0.98


@pytest.mark.parametrize("seed", range(4))
def test_a_few_points_far_off_do_not_turn_a_face(seed):
    """Oracle: the same cloud without them; 8 of 300 points half a metre to a metre above the face."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform([-3, -3], [3, 3], (300, 2))
    points = np.column_stack([xy, 0.5 * xy[:, 1] + rng.normal(0, 0.03, len(xy))])
    spoiled = points.copy()
    edge = np.argsort(xy[:, 1])[-8:]
    spoiled[edge, 2] += rng.uniform(0.5, 1.0, 8)
    (clean,), (face,) = run(points_of(points)).planes, run(points_of(spoiled)).planes
    assert np.degrees(np.arccos(min(1.0, float(clean.normal @ face.normal)))) < 0.15
    assert face.rms_m < 1.1 * clean.rms_m


def test_a_strip_along_the_ridge_goes_to_the_faces_and_a_dormer_stays():
    """Oracle: definition; the strip lies within the noise of the faces, the dormer 0.4 m above one."""
    rng = np.random.default_rng(5)
    xy = rng.uniform([-6, -4], [6, 4], (2400, 2))
    z = -0.5 * np.abs(xy[:, 1]) + rng.normal(0, 0.05, len(xy))
    dormer = (np.abs(xy[:, 0]) < 0.7) & (np.abs(xy[:, 1] - 2) < 0.7)
    z[dormer] += 0.4
    ridge = np.abs(xy[:, 1]) < 0.12
    atoms = make_atoms(np.column_stack([xy, z]), PlanesConfig())
    truth = np.where(dormer, 3, np.where(ridge, 2, np.where(xy[:, 1] < 0, 0, 1)))
    labels = np.empty(len(xy), dtype=np.int32)
    labels[atoms.atom_of_point] = truth
    planes = planes_of(atoms, dissolve_creases(atoms, labels, 0.05))
    assert len(planes) == 3
    assert planes.area_m2.min() < 3
