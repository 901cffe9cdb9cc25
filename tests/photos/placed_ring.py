"""A ring of cameras about points that are known exactly, as mapping would give it."""

from __future__ import annotations

import numpy as np

from slopewright.photos.doubt import projection_slopes
from slopewright.photos.marks import Mark
from slopewright.photos.placed import Model

LENS = np.array([1100.0, 803.0, 597.0, -0.06, 0.02])


def looking_at(centre: np.ndarray, target: np.ndarray) -> np.ndarray:
    ahead = (target - centre) / np.linalg.norm(target - centre)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(ahead, right), ahead])


def ring(n_photos: int = 6, n_points: int = 60, *, noise_px: float = 0.0, seed: int = 1) -> Model:
    """Cameras 12 units off and 8 up, every point seen by all."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, n_photos, endpoint=False)
    centres = np.column_stack([12 * np.cos(angle), 12 * np.sin(angle), 8 + np.sin(3 * angle)])
    rotation = np.array([looking_at(centre, np.zeros(3)) for centre in centres])
    points = rng.uniform([-4, -3, -1], [4, 3, 2], (n_points, 3))
    photo = np.repeat(np.arange(n_photos), n_points)
    point = np.tile(np.arange(n_points), n_photos)
    translation = -np.einsum("nij,nj->ni", rotation, centres)
    lens = np.tile(LENS, (n_photos, 1))
    exact = projection_slopes(lens[photo], rotation[photo], translation[photo], points[point])[0]
    return Model(
        names=tuple(f"p{i}.jpg" for i in range(n_photos)),
        camera=np.ones(n_photos, dtype=np.int64),
        lens=lens,
        rotation=rotation,
        translation=translation,
        points=points,
        seen_point=point,
        seen_photo=photo,
        pixels=exact + rng.normal(0, noise_px, exact.shape) if noise_px else exact,
    )


def mark(
    model: Model, name: str, xyz: np.ndarray, *, rng: np.random.Generator | None = None, u_px: float = 1.0
) -> Mark:
    """A point marked in all photos of a model, with noise of `u_px` where there is a generator."""
    n = len(model.names)
    pixels = projection_slopes(model.lens, model.rotation, model.translation, np.tile(xyz, (n, 1)))[0]
    if rng is not None:
        pixels = pixels + rng.normal(0, u_px, pixels.shape)
    return Mark(
        name=name, u_px=u_px, photos={p: (x, y) for p, (x, y) in zip(model.names, pixels, strict=True)}
    )
