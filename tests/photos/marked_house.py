"""Invented houses with exactly known corners, photographed with distortion and marked with noise.

A corner is marked in a photo if one of the surfaces that meet there faces the camera and it falls into the
frame: right for houses without notches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from slopewright.photos.marked import MarkedLength
from slopewright.photos.marks import Mark, Marks
from slopewright.photos.model import Camera
from slopewright.photos.read import Photo

TRUE = Camera(width_px=2000, height_px=1500, focal_px=1490.0, centre_px=(1004.0, 744.0), k1=-0.04, k2=0.015)
STATED_FOCAL_PX = 1470.0
ROLL_SD = np.radians(2.0)  # of hands
STICK = MarkedLength(name="stick", ends=(("stick a",), ("stick b",)), length_m=3.0, u_m=0.003)


@dataclass(frozen=True, kw_only=True)
class House:
    """Corners by name, and the faces of the roof as names of corners."""

    corners: dict[str, np.ndarray]
    normals: dict[str, list[np.ndarray]]  # of the surfaces that meet in a corner
    faces: tuple[tuple[str, ...], ...]

    def face_normal(self, k: int) -> np.ndarray:
        """Upward unit normal of a face."""
        a, b, c = (self.corners[name] for name in self.faces[k][:3])
        normal = np.cross(b - a, c - a)
        return normal / np.linalg.norm(normal) * np.sign(normal[2])

    def pitches_deg(self) -> np.ndarray:
        """Of the faces."""
        return np.degrees([np.arccos(self.face_normal(k)[2]) for k in range(len(self.faces))])

    @property
    def area_m2(self) -> float:
        """Of all faces."""
        total = 0.0
        for face in self.faces:
            ring = np.array([self.corners[name] for name in face])
            away = ring[1:] - ring[0]
            total += float(np.linalg.norm(np.cross(away[:-1], away[1:]).sum(axis=0))) / 2
        return total


def house(
    kind: str, *, length=11.2, width=7.6, overhang=0.45, eave=2.6, pitch_deg=30.0, turn_rad=0.4
) -> House:
    """A hip, gable or pyramid roof over a rectangle, with wall corners and a stick before it."""
    hx, hy = length / 2 + overhang, width / 2 + overhang
    rise = np.tan(np.radians(pitch_deg))
    eaves = {
        "eave sw": (-hx, -hy, eave),
        "eave se": (hx, -hy, eave),
        "eave ne": (hx, hy, eave),
        "eave nw": (-hx, hy, eave),
    }
    if kind == "pyramid":
        top = {"peak": (0, 0, eave + rise * hy)}
        faces = [("eave sw", "eave se", "peak"), ("eave se", "eave ne", "peak")]
        faces += [("eave ne", "eave nw", "peak"), ("eave nw", "eave sw", "peak")]
    else:
        rx = hx if kind == "gable" else hx - hy
        top = {"ridge w": (-rx, 0, eave + rise * hy), "ridge e": (rx, 0, eave + rise * hy)}
        faces = [("eave sw", "eave se", "ridge e", "ridge w"), ("eave ne", "eave nw", "ridge w", "ridge e")]
        if kind == "hip":
            faces += [("eave se", "eave ne", "ridge e"), ("eave nw", "eave sw", "ridge w")]
    walls = {}
    for name, sx, sy in (("sw", -1, -1), ("se", 1, -1), ("ne", 1, 1), ("nw", -1, 1)):
        walls[f"wall {name}.foot"] = (sx * length / 2, sy * width / 2, 0.15)
        walls[f"wall {name}.top"] = (sx * length / 2, sy * width / 2, 2.1)
    stick = {"stick a": (-2.0, -hy - 1.0, 0.02), "stick b": (1.0, -hy - 1.0, 0.02)}
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    corners = {
        name: turn @ np.array(xyz, dtype=float) for name, xyz in {**eaves, **top, **walls, **stick}.items()
    }
    draft = House(corners=corners, normals={}, faces=tuple(faces))
    normals: dict[str, list[np.ndarray]] = {name: [] for name in corners}
    for k, face in enumerate(faces):
        for name in face:
            normals[name].append(draft.face_normal(k))
    for name, xyz in {**eaves, **walls}.items():
        normals[name] += [turn @ [np.sign(xyz[0]), 0, 0], turn @ [0, np.sign(xyz[1]), 0]]
    for name in top:
        if kind == "gable":
            normals[name].append(turn @ [np.sign(top[name][0]), 0, 0])
    normals["stick a"] = normals["stick b"] = [turn @ [0, -1.0, 0], np.array([0, 0, 1.0])]
    return replace(draft, normals=normals)


@dataclass(frozen=True, kw_only=True)
class Shot:
    """A photo's true pose."""

    name: str
    rotation: np.ndarray
    centre: np.ndarray
    camera: Camera = TRUE

    def pixel(self, xyz: np.ndarray) -> np.ndarray | None:
        """Where a point falls, None outside of the frame."""
        seen = (xyz - self.centre) @ self.rotation.T
        if seen[2] < 0.5 or np.hypot(seen[0], seen[1]) > 1.2 * seen[2]:
            return None
        x, y = self.camera.project(seen[None])[0]
        inside = 0 <= x <= self.camera.width_px - 1 and 0 <= y <= self.camera.height_px - 1
        return np.array([x, y]) if inside else None


def walk_round(n: int, rng: np.random.Generator, *, away_m=15.0, height_m=1.6, first_rad=0.0) -> list[Shot]:
    """Photos by hand round a house, held level within two degrees."""
    shots = []
    for i in range(n):
        angle = first_rad + 2 * np.pi * i / n + 0.03 * rng.normal()
        away = away_m * (1 + 0.04 * rng.normal())
        centre = np.array([away * np.cos(angle), away * np.sin(angle), height_m + 0.1 * rng.normal()])
        shots.append(
            Shot(name=f"walk_{i:02d}.jpg", centre=centre, rotation=looking(centre, [0, 0, 2.2], rng))
        )
    return shots


def looking(
    centre,
    target,
    rng: np.random.Generator,
) -> np.ndarray:
    """A rotation world to camera that looks from one point to another."""
    z = np.asarray(target, dtype=float) - centre
    z /= np.linalg.norm(z)
    x = np.cross(z, [0, 0, 1.0])
    x /= np.linalg.norm(x)
    y = np.cross(z, x)
    roll = ROLL_SD * rng.normal()
    c, s = np.cos(roll), np.sin(roll)
    return np.array([c * x + s * y, -s * x + c * y, z])


def photos_of(shots: list[Shot], focal_px: float | None = STATED_FOCAL_PX) -> list[Photo]:
    """What their files would say."""
    return [
        Photo(
            name=shot.name,
            path=Path(shot.name),
            width_px=shot.camera.width_px,
            height_px=shot.camera.height_px,
            camera="one",
            focal_px=focal_px,
            gps=None,
            time=None,
        )
        for shot in shots
    ]


def marked(
    home: House, shots: list[Shot], rng: np.random.Generator, *, u_px=1.5, only: tuple[str, ...] = ()
) -> Marks:
    """Marks with noise of every corner in the photos that show it; `only` those whose names begin so."""
    marks = []
    for name, xyz in home.corners.items():
        if only and not name.startswith(only):
            continue
        seen = {}
        for shot in shots:
            faces = any(normal @ (shot.centre - xyz) > 0 for normal in home.normals[name])
            pixel = shot.pixel(xyz)
            if faces and pixel is not None:
                seen[shot.name] = tuple((pixel + u_px * rng.normal(size=2)).tolist())
        if seen:
            marks.append(Mark(name=name, u_px=u_px, photos=seen))
    return Marks(file="marks.json", marks=tuple(marks))
