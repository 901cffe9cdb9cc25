"""Photos of an invented house cast from exact planes, and the block of the cameras that took them.

An L of two wings with a hip, two valleys, five unequal pitches, boards under its free edges, walls, lawn, a
chimney and a vent.  Every pixel is the mean of four rays.  Metres; z up.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from slopewright.photos.model import Block, Camera, PosedPhoto
from slopewright.scene import Array

EAVE_Z = 2.6
FRONT, BACK, HIP, LEFT, RIGHT = (np.tan(np.deg2rad(deg)) for deg in (30.0, 24.0, 35.0, 27.0, 33.0))
SOUTH, NORTH, WEST, EAST = -4.0, 4.5, -6.0, 6.5
WING_SOUTH, WING_WEST, WING_EAST = -7.5, -3.5, 1.5
RIDGE_Y = (NORTH * BACK + SOUTH * FRONT) / (FRONT + BACK)
RIDGE_Z = EAVE_Z + FRONT * (RIDGE_Y - SOUTH)
HIP_X = EAST - (RIDGE_Z - EAVE_Z) / HIP
WING_X = (WING_EAST * RIGHT + WING_WEST * LEFT) / (LEFT + RIGHT)
WING_Z = EAVE_Z + LEFT * (WING_X - WING_WEST)
VALLEY_Y = SOUTH + (WING_Z - EAVE_Z) / FRONT
BOARD_M, OVERHANG_M = 0.18, 0.4
TILE_M, TILE_PX = 10.24, 1024
COURSE_M = 0.14  # of shingles
NOISE_GREY = 1.5

# outlines in plan, counter-clockwise; the plane of each as gradient and a point
FACES: dict[str, Array] = {
    "front": np.array(
        [[WEST, SOUTH], [WING_WEST, SOUTH], [WING_X, VALLEY_Y], [WING_EAST, SOUTH], [EAST, SOUTH],
         [HIP_X, RIDGE_Y], [WEST, RIDGE_Y]]
    ),
    "back": np.array([[EAST, NORTH], [WEST, NORTH], [WEST, RIDGE_Y], [HIP_X, RIDGE_Y]]),
    "hip": np.array([[EAST, SOUTH], [EAST, NORTH], [HIP_X, RIDGE_Y]]),
    "left": np.array(
        [[WING_WEST, SOUTH], [WING_WEST, WING_SOUTH], [WING_X, WING_SOUTH], [WING_X, VALLEY_Y]]
    ),
    "right": np.array(
        [[WING_X, WING_SOUTH], [WING_EAST, WING_SOUTH], [WING_EAST, SOUTH], [WING_X, VALLEY_Y]]
    ),
}  # fmt: skip
PLANES: dict[str, tuple[float, float, float]] = {  # z = a x + b y + c
    "front": (0.0, FRONT, EAVE_Z - FRONT * SOUTH),
    "back": (0.0, -BACK, EAVE_Z + BACK * NORTH),
    "hip": (-HIP, 0.0, EAVE_Z + HIP * EAST),
    "left": (LEFT, 0.0, EAVE_Z - LEFT * WING_WEST),
    "right": (-RIGHT, 0.0, EAVE_Z + RIGHT * WING_EAST),
}
# free edges: outward normal in plan, offset along it, ends of the other coordinate
FREE_LINES: dict[str, tuple[tuple[float, float], float]] = {
    "eave front": ((0, -1), -SOUTH), "eave back": ((0, 1), NORTH), "eave hip": ((1, 0), EAST),
    "rake west": ((-1, 0), -WEST), "eave left": ((-1, 0), -WING_WEST), "eave right": ((1, 0), WING_EAST),
    "rake wing": ((0, -1), -WING_SOUTH),
}  # fmt: skip
CHIMNEY = ((-2.2, 1.6), 0.6, 1.4)  # middle in plan, side, top above the plane at its middle
VENT = ((2.2, 1.9), 0.30, 0.25)


def heights(face: str, xy: Array) -> Array:
    """Of a face's plane."""
    a, b, c = PLANES[face]
    return np.asarray(xy @ np.array([a, b]) + c)


def areas() -> dict[str, float]:
    """Of the faces, by the shoelace formula and the slope."""
    found = {}
    for name, ring in FACES.items():
        x, y = ring.T
        plan = 0.5 * float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
        found[name] = plan * float(np.sqrt(1 + PLANES[name][0] ** 2 + PLANES[name][1] ** 2))
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A flat polygon with a colour."""

    ring: Array  # (k, 3)
    colour: tuple[float, float, float]
    contrast: float
    courses: bool = False


def _upright(
    ring: Array, low: Array, high: Array, colour: tuple[float, float, float], contrast: float
) -> list[Surface]:
    """A wall under each side of a plan ring, from `low` to `high` at its corners."""
    made = []
    for k in range(len(ring)):
        m = (k + 1) % len(ring)
        corners = [(*ring[k], low[k]), (*ring[m], low[m]), (*ring[m], high[m]), (*ring[k], high[k])]
        made.append(Surface(ring=np.array(corners), colour=colour, contrast=contrast))
    return made


def _box(
    middle: tuple[float, float], side: float, top: float, colour: tuple[float, float, float]
) -> list[Surface]:
    """On the back face, its top level so far above the plane at its middle."""
    ring = np.array(middle) + side / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    low = heights("back", ring)
    high = np.full(4, float(heights("back", np.array([middle]))[0]) + top)
    lid = Surface(ring=np.column_stack([ring, high]), colour=colour, contrast=8.0)
    return [lid, *_upright(ring, low, high, colour, 8.0)]


def surfaces() -> list[Surface]:
    """Everything there is."""
    tones = {
        "front": (96, 88, 80),
        "back": (84, 78, 74),
        "hip": (104, 92, 82),
        "left": (90, 84, 80),
        "right": (100, 90, 78),
    }
    made = [
        Surface(
            ring=np.column_stack([ring, heights(name, ring)]), colour=tones[name], contrast=26.0, courses=True
        )
        for name, ring in FACES.items()
    ]
    boards = [
        ("front", [(WEST, SOUTH), (WING_WEST, SOUTH)]), ("front", [(WING_EAST, SOUTH), (EAST, SOUTH)]),
        ("hip", [(EAST, SOUTH), (EAST, NORTH)]), ("back", [(EAST, NORTH), (WEST, NORTH)]),
        ("back", [(WEST, NORTH), (WEST, RIDGE_Y)]), ("front", [(WEST, RIDGE_Y), (WEST, SOUTH)]),
        ("left", [(WING_WEST, SOUTH), (WING_WEST, WING_SOUTH)]),
        ("left", [(WING_WEST, WING_SOUTH), (WING_X, WING_SOUTH)]),
        ("right", [(WING_X, WING_SOUTH), (WING_EAST, WING_SOUTH)]),
        ("right", [(WING_EAST, WING_SOUTH), (WING_EAST, SOUTH)]),
    ]  # fmt: skip
    for name, ends in boards:
        ring = np.array(ends)
        top = heights(name, ring)
        made += _upright(ring, top - BOARD_M, top, (225.0, 225.0, 220.0), 4.0)[:1]
    o = OVERHANG_M
    main = np.array(
        [[WEST + o, SOUTH + o], [EAST - o, SOUTH + o], [EAST - o, NORTH - o], [WEST + o, NORTH - o]]
    )
    made += _upright(main, np.zeros(4), np.full(4, EAVE_Z), (170, 160, 140), 12.0)
    gable = [(WEST + o, NORTH - o, EAVE_Z), (WEST + o, SOUTH + o, EAVE_Z), (WEST + o, RIDGE_Y, RIDGE_Z - 0.2)]
    made.append(Surface(ring=np.array(gable), colour=(170, 160, 140), contrast=12.0))
    wing = np.array(
        [
            [WING_WEST + o, WING_SOUTH + o],
            [WING_EAST - o, WING_SOUTH + o],
            [WING_EAST - o, SOUTH],
            [WING_WEST + o, SOUTH],
        ]
    )
    made += _upright(wing, np.zeros(4), np.full(4, EAVE_Z), (170, 160, 140), 12.0)
    gable = [
        (WING_WEST + o, WING_SOUTH + o, EAVE_Z),
        (WING_EAST - o, WING_SOUTH + o, EAVE_Z),
        (WING_X, WING_SOUTH + o, WING_Z - 0.2),
    ]
    made.append(Surface(ring=np.array(gable), colour=(170, 160, 140), contrast=12.0))
    made += _box(*CHIMNEY, (150.0, 90.0, 80.0))
    made += _box(*VENT, (190.0, 190.0, 195.0))
    lawn = np.array([[-40, -40, 0], [40, -40, 0], [40, 40, 0], [-40, 40, 0]], dtype=float)
    made.append(Surface(ring=lawn, colour=(70, 105, 50), contrast=34.0))
    drive = np.array([[2, -40, 0.01], [6, -40, 0.01], [6, -3, 0.01], [2, -3, 0.01]])
    made.append(Surface(ring=drive, colour=(160, 160, 155), contrast=14.0))
    return made


def _texture(rng: np.random.Generator) -> Array:
    """Noise of unit spread that repeats, from the size of a leaf to that of a slate."""
    total = np.zeros((TILE_PX, TILE_PX), np.float32)
    for sigma, share in ((1.5, 0.5), (4.0, 0.6), (12.0, 0.5), (40.0, 0.4)):
        white = rng.normal(size=(TILE_PX, TILE_PX)).astype(np.float32)
        wrapped = cv2.copyMakeBorder(white, 160, 160, 160, 160, cv2.BORDER_WRAP)
        smooth = cv2.GaussianBlur(wrapped, (0, 0), sigma)[160:-160, 160:-160]
        total += share * smooth / smooth.std()
    return np.asarray(total / total.std())


def look_at(eye: Array, target: Array, roll_rad: float = 0.0) -> tuple[Array, Array]:
    """Rotation and translation of a camera that looks at a point."""
    z = (target - eye) / np.linalg.norm(target - eye)
    up = np.array([0.0, 0.0, 1.0]) if abs(z[2]) < 0.95 else np.array([0.0, 1.0, 0.0])
    x = np.cross(z, up) / np.linalg.norm(np.cross(z, up))
    turn = np.array(
        [[np.cos(roll_rad), np.sin(roll_rad), 0], [-np.sin(roll_rad), np.cos(roll_rad), 0], [0, 0, 1]]
    )
    rotation = turn @ np.array([x, np.cross(z, x), z])
    return rotation, -rotation @ eye


def drone_poses(
    n_nadir: tuple[int, int], n_orbit: int, *, height_m: float = 20.0, away_m: float = 16.0
) -> list[tuple[Array, Array]]:
    """A grid that looks down, about a sixth of its height apart, and a round that looks inward."""
    poses = []
    for i in range(n_nadir[0]):
        for j in range(n_nadir[1]):
            x = (i - (n_nadir[0] - 1) / 2) * height_m / 5 + 0.3
            y = (j - (n_nadir[1] - 1) / 2) * height_m / 5 - 1.3
            poses.append(
                look_at(np.array([x, y, height_m]), np.array([x + 0.3, y - 0.2, 0.0]), 0.03 * i - 0.05 * j)
            )
    for k in range(n_orbit):
        angle = 2 * np.pi * (k + 0.3) / n_orbit
        eye = np.array([away_m * np.cos(angle), away_m * np.sin(angle) - 1.0, 0.65 * height_m])
        poses.append(look_at(eye, np.array([0.3, -1.2, 2.8]), 0.05 * np.sin(3 * angle)))
    return poses


def shoot(
    folder: Path, poses: list[tuple[Array, Array]], camera: Camera, *, seed: int = 5, n_ties: int = 900
) -> Block:
    """Cast the photos into a folder; the block has the exact cameras and ties that its photos see."""
    rng = np.random.default_rng(seed)
    things, texture = surfaces(), _texture(rng)
    photos, depths = [], []
    for i, (rotation, translation) in enumerate(poses):
        picture, depth = cast(things, texture, camera, rotation, translation)
        noisy = np.clip(np.rint(picture + rng.normal(0, NOISE_GREY, picture.shape)), 0, 255).astype(np.uint8)
        path = folder / f"cast_{i:03d}.png"
        cv2.imwrite(str(path), noisy[..., ::-1])
        photos.append(
            PosedPhoto(name=path.name, path=path, camera=camera, rotation=rotation, translation=translation)
        )
        depths.append(depth)
    ties = _ties(rng, n_ties)
    seen_point, seen_photo = [], []
    for i, photo in enumerate(photos):
        at = photo.project(ties)
        z = (ties @ photo.rotation.T + photo.translation)[:, 2]
        inside = (at > 1).all(axis=1) & (at < np.array([camera.width_px, camera.height_px]) - 2).all(axis=1)
        rows = np.flatnonzero(inside)
        column, row = np.rint(at[rows]).astype(int).T
        rows = rows[np.abs(depths[i][row, column] - z[rows]) < 0.15]
        seen_point.append(rows)
        seen_photo.append(np.full(len(rows), i))
    return Block(
        photos=tuple(photos),
        points=ties,
        seen_point=np.concatenate(seen_point).astype(np.int32),
        seen_photo=np.concatenate(seen_photo).astype(np.int32),
        origin=np.zeros(3),
        crs=None,
        scale_u=0.0,
        tilt_u_rad=0.0,
        scale_from="exact",
        level_from="exact",
    )


def _ties(rng: np.random.Generator, n: int) -> Array:
    """Spots on the faces and the lawn."""
    spots = []
    for name, ring in FACES.items():
        if name == "front":
            ring = ring[[0, 4, 5, 6]]
        xy = rng.dirichlet(np.ones(len(ring)), n // 8) @ ring
        spots.append(np.column_stack([xy, heights(name, xy)]))
    lawn = rng.uniform(-14, 14, (n // 2, 2))
    spots.append(np.column_stack([lawn, np.zeros(len(lawn))]))
    return np.vstack(spots)


def cast(
    things: list[Surface], texture: Array, camera: Camera, rotation: Array, translation: Array
) -> tuple[Array, Array]:
    """A picture (h, w, 3) and the depth of its pixels along the axis (h, w)."""
    w, h = camera.width_px, camera.height_px
    total = np.zeros((h, w, 3))
    nearest = np.full((h, w), np.inf)
    xx, yy = np.meshgrid(np.arange(w, dtype=float), np.arange(h, dtype=float))
    base = camera.rays(np.column_stack([xx.ravel(), yy.ravel()]))[:, :2].reshape(h, w, 2)
    along_x, along_y = np.gradient(base, axis=1), np.gradient(base, axis=0)
    shifts = [(dx, dy) for dx in (-0.25, 0.25) for dy in (-0.25, 0.25)]
    for dx, dy in shifts:
        flat = base + dx * along_x + dy * along_y
        colour, depth = _one_ray_each(things, texture, camera, rotation, translation, flat)
        total += colour / len(shifts)
        nearest = np.minimum(nearest, depth)
    return total, nearest


def _one_ray_each(
    things: list[Surface], texture: Array, camera: Camera, rotation: Array, translation: Array, flat: Array
) -> tuple[Array, Array]:
    h, w = flat.shape[:2]
    colour, depth = np.full((h, w, 3), 200.0), np.full((h, w), np.inf)
    sun = np.array([0.35, -0.5, 0.79])
    for n, thing in enumerate(things):
        ring = thing.ring @ rotation.T + translation
        window = _window(ring, camera)
        if window is None:
            continue
        rows, columns = window
        rays = flat[rows, columns]
        normal = np.cross(ring[1] - ring[0], ring[-1] - ring[0])
        normal = normal / np.linalg.norm(normal)
        speed = rays @ normal[:2] + normal[2]
        with np.errstate(divide="ignore"):
            z = float(ring[0] @ normal) / speed
        # plane coordinates: along the first level direction and up from it
        world = rotation.T @ normal
        level = np.cross([0.0, 0.0, 1.0], world)
        level = level / np.linalg.norm(level) if np.linalg.norm(level) > 1e-6 else np.array([1.0, 0.0, 0.0])
        up = np.cross(world, level)
        frame = np.column_stack([rotation @ level, rotation @ up])
        at = (rays @ frame[:2] + frame[2]) * z[..., None] - ring[0] @ frame
        polygon = (ring - ring[0]) @ frame
        hit = (z > 0.1) & (z < depth[rows, columns]) & _inside(polygon, at)
        if not hit.any():
            continue
        spot = (at[hit] + 3.7 * n) / TILE_M * TILE_PX % TILE_PX
        column = spot[:, 0].astype(np.float32).reshape(1, -1)
        row = spot[:, 1].astype(np.float32).reshape(1, -1)
        value = np.concatenate(
            [
                cv2.remap(
                    texture,
                    column[:, k : k + 30000],
                    row[:, k : k + 30000],
                    cv2.INTER_LINEAR,
                    borderMode=cv2.BORDER_WRAP,
                )
                for k in range(0, column.shape[1], 30000)
            ],
            axis=1,
        )[0]
        if thing.courses:
            value = value - 1.2 * (at[hit][:, 1] / COURSE_M % 1.0 < 0.12)
        light = 0.55 + 0.45 * abs(float(world @ sun))
        part = np.array(thing.colour) + thing.contrast * value[:, None]
        colour[rows, columns][hit] = light * part
        depth[rows, columns][hit] = z[hit]
    return colour, depth


def _window(ring: Array, camera: Camera) -> tuple[slice, slice] | None:
    """Rows and columns that can show a ring in camera axes."""
    h, w = camera.height_px, camera.width_px
    if (ring[:, 2] < 0.1).any():
        return slice(0, h), slice(0, w)
    at = camera.project(ring)
    low = np.clip(np.floor(at.min(axis=0) - 12), 0, [w, h]).astype(int)
    high = np.clip(np.ceil(at.max(axis=0) + 13), 0, [w, h]).astype(int)
    if (high <= low).any():
        return None
    return slice(low[1], high[1]), slice(low[0], high[0])


def _inside(polygon: Array, at: Array) -> Array:
    """Even-odd rule."""
    x, y = at[..., 0], at[..., 1]
    inside = np.zeros(x.shape, dtype=bool)
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if y0 != y1:
            inside ^= ((y0 > y) != (y1 > y)) & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)
    return inside
