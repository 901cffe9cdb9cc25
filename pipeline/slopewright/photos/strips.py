"""What the photos show along a free edge: colours on the plane, in and out across the edge.

A strip lies on the plane that ends there, extended beyond it.  What is on the plane lies at the same place of
the strip in every photo; what is behind it moves from photo to photo.  Metres; z up.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ..scene import Array, EdgeKind, Segmentation, Topology, lock
from .model import Block, PosedPhoto
from .pairs import in_frame
from .read import load_pixels
from .sight import Faces

FREE = (EdgeKind.EAVE, EdgeKind.RAKE)
REACH_M = 0.30  # in and out from where the cloud has the edge
CHUNK_M = 1.0  # of the edge, that has a profile of its own
END_M = 0.15  # at each end belongs to the corner
LEAST_CHUNK_M = 0.25
MOST_ALONG = 48  # samples along a chunk
GRAZING = 0.2  # cosine between view and normal (78°) under which a plane is not looked at
COARSE = 3.0  # times the finest photo's pixel across the edge: coarser photos add nothing
MIN_STEP_M, MOST_STEP_M = 0.002, 0.01  # between samples across the edge
LEAST_INSIDE = 3  # photos from over the roof's side of an edge, that do not see the board below it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A part of a boundary on which one plane ends."""

    boundary: int
    edge: int
    stations: Array  # (c,) middles of the chunks, along the boundary [m]
    width_m: float  # of a chunk
    along: Array  # (a,) of the samples about each middle [m]
    xyz: Array  # (c, 3) the middles, on the plane
    direction: Array  # (3,) along the edge on the plane; one metre in plan
    outward: Array  # (3,) across; one metre in plan
    normal: Array  # (3,) of the plane, unit
    face: int

    def __post_init__(self) -> None:
        lock(self.stations, self.along, self.xyz, self.direction, self.outward, self.normal)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profiles:
    """Median colours across the edge, by photo and chunk."""

    t: Array  # (n,) outward from the boundary as the cloud has it, in plan [m]
    colour: Array  # (photos, chunks, n, 3) grey levels, not a number where hidden or out of the frame
    pixel_m: Array  # (photos,) of a pixel across the edge, in plan
    faced: bool  # whether photos from outside are among them: the board under the edge widens it outward

    def __post_init__(self) -> None:
        lock(self.t, self.colour, self.pixel_m)


def free_pieces(segmentation: Segmentation, topology: Topology) -> list[Piece]:
    """All parts of free edges that are long enough to be looked at."""
    pieces = []
    for n, edge in enumerate(topology.edges):
        b = edge.curve.boundary
        if b is None or edge.kind not in FREE:
            continue
        boundary = topology.boundaries[b]
        out = np.array([np.cos(boundary.angle_rad), np.sin(boundary.angle_rad)])
        face = _face_inside(topology, edge.start, edge.end, edge.planes[0], out)
        if face is None:
            continue
        along = np.array([-out[1], out[0]])
        ends = [topology.vertices[topology.corners[c].vertex].xy for c in (edge.start, edge.end)]
        low, high = sorted(float((xy - boundary.point) @ along) for xy in ends)
        low, high = low + END_M, high - END_M
        if high - low < LEAST_CHUNK_M:
            continue
        count = max(1, round((high - low) / CHUNK_M))
        width = (high - low) / count
        stations = np.asarray(low + width * (np.arange(count) + 0.5), dtype=np.float64)
        plane = segmentation.planes[edge.planes[0]]
        slope = -plane.normal[:2] / plane.normal[2]
        xy = boundary.point + stations[:, None] * along
        z = plane.centroid[2] + (xy - plane.centroid[:2]) @ slope
        pieces.append(
            Piece(
                boundary=b,
                edge=n,
                stations=stations,
                width_m=width,
                along=width * (np.arange(MOST_ALONG) + 0.5) / MOST_ALONG - width / 2,
                xyz=np.column_stack([xy, z]),
                direction=np.append(along, slope @ along),
                outward=np.append(out, slope @ out),
                normal=np.asarray(plane.normal).copy(),
                face=face,
            )
        )
    return pieces


def look(block: Block, segmentation: Segmentation, topology: Topology, pieces: list[Piece]) -> list[Profiles]:
    """The profiles of each piece in all photos that see it well."""
    roof = _roof(segmentation, topology)
    seen = [_sight(block, piece, roof) for piece in pieces]
    faced = [_keep_inside(block, piece, pixel_m) for piece, (pixel_m, _) in zip(pieces, seen, strict=True)]
    t = _stations_across(np.concatenate([pixel_m for pixel_m, _ in seen] or [np.zeros(0)]))
    found: list[list[Array]] = [[] for _ in pieces]
    for i, photo in enumerate(block.photos):
        wanted = [n for n, (pixel_m, _) in enumerate(seen) if np.isfinite(pixel_m[i])]
        if not wanted:
            continue
        pixels = load_pixels(photo.path)
        for n in wanted:
            colour = _colours(photo, pixels, pieces[n], t)
            colour[~seen[n][1][i]] = np.nan
            found[n].append(colour)
    return [
        Profiles(
            t=t,
            colour=np.array(found[n]).reshape(-1, len(pieces[n].stations), len(t), 3),
            pixel_m=pixel_m[np.isfinite(pixel_m)],
            faced=faced[n],
        )
        for n, (pixel_m, _) in enumerate(seen)
    ]


def _keep_inside(block: Block, piece: Piece, pixel_m: Array) -> bool:
    """Leave out photos that look at an edge from outside, if there are enough others; whether any stay."""
    out = piece.outward[:2]
    outside = np.array([(p.centre - piece.xyz.mean(axis=0))[:2] @ out > 0 for p in block.photos])
    seen = np.isfinite(pixel_m)
    if np.count_nonzero(seen & ~outside) < LEAST_INSIDE:
        return bool((seen & outside).any())
    pixel_m[outside] = np.nan
    return False


def _stations_across(pixel_m: Array) -> Array:
    """Samples across the edge: two a pixel of the finest photo, alike for all edges."""
    seen = pixel_m[np.isfinite(pixel_m)]
    step = float(np.clip(seen.min() / 2, MIN_STEP_M, MOST_STEP_M)) if len(seen) else MOST_STEP_M
    half = int(np.ceil(REACH_M / step))
    return np.asarray(step * np.arange(-half, half + 1), dtype=np.float64)


def _face_inside(topology: Topology, start: int, end: int, plane: int, out: Array) -> int | None:
    """The face of the plane that has this side and lies inside of the boundary."""
    at = [topology.vertices[topology.corners[c].vertex].xy for c in (start, end)]
    for f, face in enumerate(topology.faces):
        if face.plane != plane:
            continue
        for loop in face.loops:
            for a, b in zip(loop, loop[1:] + loop[:1], strict=True):
                if {a, b} == {start, end}:
                    way = at[1] - at[0] if a == start else at[0] - at[1]
                    return f if float(np.array([way[1], -way[0]]) @ out) > 0 else None
    return None


def _roof(segmentation: Segmentation, topology: Topology) -> Faces:
    """The faces as traced, to see what hides an edge."""
    rings = [
        [np.array([topology.vertices[topology.corners[c].vertex].xy for c in loop]) for loop in face.loops]
        for face in topology.faces
    ]
    planes = [segmentation.planes[face.plane] for face in topology.faces]
    return Faces(
        normals=np.array([plane.normal for plane in planes]),
        offsets=np.array([plane.normal @ plane.centroid for plane in planes]),
        rings=rings,
    )


def _sight(block: Block, piece: Piece, roof: Faces) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Size of a pixel across the edge in each photo, not a number where not seen; which chunks are seen."""
    pixel_m = np.full(len(block.photos), np.nan)
    chunks = np.zeros((len(block.photos), len(piece.stations)), dtype=bool)
    for i, photo in enumerate(block.photos):
        way = photo.centre - piece.xyz
        cosine = way @ piece.normal / np.linalg.norm(way, axis=1)
        seen = cosine > GRAZING
        for t in (-REACH_M, REACH_M):
            for s in (piece.along[0], piece.along[-1]):
                seen &= in_frame(photo, piece.xyz + t * piece.outward + s * piece.direction)
        if seen.any():
            seen[seen] = ~roof.hide(photo.centre, piece.xyz[seen], piece.face)
        if not seen.any():
            continue
        step = photo.project(piece.xyz[seen] + piece.outward * 0.05) - photo.project(
            piece.xyz[seen] - piece.outward * 0.05
        )
        pixel_m[i] = 0.1 / float(np.median(np.linalg.norm(step, axis=1)))
        chunks[i] = seen
    if np.isfinite(pixel_m).any():
        pixel_m[pixel_m > COARSE * np.nanmin(pixel_m)] = np.nan
    return pixel_m, chunks


def _colours(photo: PosedPhoto, pixels: npt.NDArray[np.uint8], piece: Piece, t: Array) -> Array:
    """Median colours along each chunk, shape (chunks, t, 3)."""
    spots = (
        piece.xyz[:, None, None]
        + piece.along[None, :, None, None] * piece.direction
        + t[None, None, :, None] * piece.outward
    )
    at = photo.project(spots.reshape(-1, 3))
    at = np.where(np.isfinite(at), at, -1e3)
    # remap takes pictures of up to 32767 rows: one row a chunk and station
    size = (spots.shape[0] * spots.shape[1], spots.shape[2])
    low = np.floor(at.min(axis=0)).astype(int) - 2
    high = np.ceil(at.max(axis=0)).astype(int) + 3
    low, high = np.maximum(low, 0), np.minimum(high, pixels.shape[1::-1])
    if (high <= low).any():
        return np.full((spots.shape[0], len(t), 3), np.nan)
    part = pixels[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    maps = [(at[:, k] - low[k]).astype(np.float32).reshape(size) for k in (0, 1)]
    colour = cv2.remap(part, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    whole = colour.reshape(*spots.shape[:3], 3).astype(np.float64)
    return np.asarray(np.median(whole, axis=1))
