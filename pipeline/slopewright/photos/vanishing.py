"""How a plane lies before a camera: from lines that are level or upright in it, or from a known rectangle.

The plane's axes are `level` and `across`, at right angles in it; its points are where rays meet it at unit
distance.  Radians, pixels; camera axes x right, y down, z ahead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from ..scene import Array, lock
from .model import Camera

Line = tuple[int, int]  # rows of the pixels

REFINED = 2  # starts, the best, from which the fit is made
EVALUATIONS = 25  # of the fit, by parameter
EDGE_ON = float(np.cos(np.deg2rad(82.0)))  # a ray that meets the plane flatter tells nothing of it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """What is marked of a plane in a photo, and what is known of its lens."""

    pixels: Array  # (n, 2)
    u_px: Array  # (n,)
    level: tuple[Line, ...]  # ends of lines along the first axis
    across: tuple[Line, ...]  # ... along the second
    lean_rad: Array  # (lines,) by which lines turn from their axis in the plane, level ones first
    lean_sd_rad: float  # of what is built
    rectangle: tuple[int, int, int, int] | None  # corners in order; first to second along the first axis
    sides: tuple[float, float]  # of the rectangle
    focal_px: float
    focal_sd: float  # relative
    centre_px: tuple[float, float]
    centre_sd_px: float
    k1: float
    k1_sd: float
    size_px: tuple[int, int]

    def __post_init__(self) -> None:
        lock(self.pixels, self.u_px, self.lean_rad)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lying:
    """The plane and the lens that fit."""

    axes: Array  # (3, 3) rows: level, across, away from the camera; camera axes
    camera: Camera
    scale: float | None  # lengths of a plane at unit distance times this, by the rectangle
    cost: float  # sum of squares of what remains, in standard deviations
    freedom: int
    parameters: Array
    rest: Array  # what remains
    gain: Array  # how parameters follow it

    def on_plane(self, pixels: Array) -> Array:
        """Pixels (n, 2) to coordinates in the plane (n, 2), as at unit distance; not a number edge-on."""
        rays = self.camera.rays(pixels)
        depth = rays @ self.axes[2]
        flat = depth < EDGE_ON * np.linalg.norm(rays, axis=1)
        met = rays / np.where(flat, np.nan, depth)[:, None]
        return np.asarray(met @ self.axes[:2].T)


def lie(view: View) -> Lying | None:
    """Fit plane and lens to what is marked.

    Parameters
    ----------
    view : View

    Returns
    -------
    Lying, or None where no plane before the camera fits.

    Notes
    -----
    Residuals are, in standard deviations: the angle of each line's interpretation plane against its axis; the
    reprojection of the rectangle's corners; lens and lean against what is known of them.

    References
    ----------
    .. [1] A. Criminisi, I. Reid, A. Zisserman, "Single view metrology," IJCV 40(2), 2000,
       doi:10.1023/A:1026598000963.
    .. [2] D. Liebowitz and A. Zisserman, "Metric rectification for perspective images of planes," CVPR 1998,
       doi:10.1109/CVPR.1998.698649.
    """
    fit = _Fit(view)
    best = None
    for guess in sorted(fit.starts(), key=fit.cost)[:REFINED]:
        found = least_squares(
            fit.residuals, guess, method="lm", x_scale=fit.steps, max_nfev=EVALUATIONS * len(guess)
        )
        if best is None or found.cost < best.cost:
            best = found
    if best is None or not np.isfinite(best.cost):
        return None
    found_plane = _lying(fit, best.x, best.fun, np.linalg.pinv(best.jac))
    rays = found_plane.camera.rays(view.pixels)
    return found_plane if (rays @ found_plane.axes[2] > 0).all() else None


def follow(nominal: Lying, moved: View) -> Lying:
    """The plane that fits a view a little other than the one of `nominal`: one step of Gauss and Newton."""
    fit = _Fit(moved)
    change = fit.residuals(nominal.parameters) - nominal.rest
    return _lying(fit, nominal.parameters - nominal.gain @ change, nominal.rest, nominal.gain)


def _lying(fit: _Fit, x: Array, rest: Array, gain: Array) -> Lying:
    return Lying(
        axes=fit.axes(x),
        camera=fit.camera(x),
        scale=None if fit.view.rectangle is None else float(np.exp(x[fit.first_place])),
        cost=float(rest @ rest),
        freedom=len(rest) - len(x),
        parameters=x,
        rest=rest,
        gain=gain,
    )


class _Fit:
    """Parameters: turn (3), ln of focal length over what is known, centre (2), k1; with a rectangle ln of the
    plane's distance over its size, and its middle."""

    first_place = 7

    def __init__(self, view: View) -> None:
        self.view = view
        self.lines = np.array([*view.level, *view.across], dtype=np.int64).reshape(-1, 2)
        self.axis = np.repeat([0, 1], [len(view.level), len(view.across)])
        self.line_px = np.hypot(view.u_px[self.lines[:, 0]], view.u_px[self.lines[:, 1]])
        n = self.first_place + (3 if view.rectangle else 0)
        self.steps = np.ones(n)
        self.steps[:7] = [0.1, 0.1, 0.1, 0.1, 10.0, 10.0, 0.05]

    def starts(self) -> list[Array]:
        """Planes seen from the front, from left and right, from below and above."""
        found = []
        for yaw, tilt in ((0.0, 0.0), (-0.8, 0.0), (0.8, 0.0), (0.0, -0.7), (0.0, 0.7)):
            turn = Rotation.from_euler("yx", [yaw, tilt]).as_rotvec()
            guess = np.zeros(len(self.steps))
            guess[:3] = turn
            if self.view.rectangle is not None:
                self._place(guess)
            found.append(guess)
        return found

    def _place(self, guess: Array) -> None:
        """Distance and middle of the rectangle for a turn."""
        view = self.view
        assert view.rectangle is not None
        rays = self.camera(guess).rays(view.pixels[list(view.rectangle)])
        axes = self.axes(guess)
        at = (rays / np.maximum(rays @ axes[2], 0.2)[:, None]) @ axes[:2].T
        size = np.linalg.norm(at - at.mean(axis=0), axis=1).mean()
        guess[self.first_place] = np.log(np.hypot(*view.sides) / 2 / max(float(size), 1e-6))
        guess[self.first_place + 1 :] = at.mean(axis=0)

    def axes(self, x: Array) -> Array:
        """Rows: level, across (up in the picture), away from the camera."""
        turn = np.asarray(Rotation.from_rotvec(x[:3]).as_matrix())
        return np.array([turn[:, 0], -turn[:, 1], turn[:, 2]])

    def camera(self, x: Array) -> Camera:
        """The lens."""
        view = self.view
        return Camera(
            width_px=view.size_px[0],
            height_px=view.size_px[1],
            focal_px=float(view.focal_px * np.exp(np.clip(x[3], -2, 2))),
            centre_px=(view.centre_px[0] + float(x[4]), view.centre_px[1] + float(x[5])),
            k1=view.k1 + float(np.clip(x[6], -0.5, 0.5)),
        )

    def cost(self, x: Array) -> float:
        """Sum of squares of the residuals."""
        return float(np.square(self.residuals(x)).sum())

    def residuals(self, x: Array) -> Array:
        """All of them, in standard deviations."""
        view, camera, axes = self.view, self.camera(x), self.axes(x)
        rays = camera.rays(view.pixels)
        parts = [
            np.array(
                [x[3] / view.focal_sd, x[4] / view.centre_sd_px, x[5] / view.centre_sd_px, x[6] / view.k1_sd]
            )
        ]
        if len(self.lines):
            first, second = rays[self.lines[:, 0]], rays[self.lines[:, 1]]
            plane = np.cross(first, second)
            length = np.maximum(np.linalg.norm(plane, axis=1), 1e-9)
            towards = axes[self.axis] + view.lean_rad[:, None] * axes[1 - self.axis]
            # how far a line may turn before its marks show it: pixels over its length, and what is built
            sd = np.hypot(self.line_px / camera.focal_px / length, view.lean_sd_rad)
            parts.append((plane * towards).sum(axis=1) / length / sd)
        if view.rectangle is not None:
            w, h = view.sides
            local = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
            place = x[self.first_place + 1 :] + local / np.exp(x[self.first_place])
            corner = place @ axes[:2] + axes[2]
            rows = list(view.rectangle)
            pixel = camera.project(np.column_stack([corner[:, :2], np.maximum(corner[:, 2], 0.02)]))
            parts.append(((pixel - view.pixels[rows]) / view.u_px[rows, None]).ravel())
        return np.concatenate(parts)
