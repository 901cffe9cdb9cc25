"""Level from the house itself: ridges run level, and faces that are alike on both sides of one fall alike.

Used only where photos tell the vertical badly; everywhere else it is a check.  Each pair of faces is tested
for being alike by what no tilt changes: how far each face reaches down from their ridge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtri

from ..scene import Array, Cloud, Notice, Segmentation, Topology
from .model import Block

WEAK_RAD = float(np.deg2rad(0.5))  # a vertical known better than this needs no help
RIDGE_SD_RAD = float(np.deg2rad(0.15))  # 1/4 in. in 8 ft: sag and settlement of a ridge; common practice
ALIKE_SD_RAD = float(np.deg2rad(0.4))  # of the pitches of two faces that are framed alike; common practice
OPPOSITE_COS = -0.94  # of the directions in which two faces of a ridge fall: 160° apart
ALIKE_REACH = 0.04  # share by which the two faces of a ridge may differ in how far they reach down
CHANCE = 1e-3  # at which what the house says contradicts itself or the photos
LEAST_RIDGE_M = 2.0  # below it a ridge's direction says little


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Says:
    """One thing that the house says of the vertical (a, b, 1): row . (a, b) = value."""

    row: Array  # (2,)
    value: float
    sd: float
    alike: bool  # equal pitches; otherwise a level ridge


def levelled_by_house(
    block: Block, cloud: Cloud, segmentation: Segmentation, topology: Topology
) -> tuple[Block, Cloud]:
    """Turn a block and its cloud level by what the house says, or tell where the two disagree.

    Parameters
    ----------
    block : Block
    cloud : Cloud
        Made from the block.
    segmentation : Segmentation
    topology : Topology
        Of the roof in that cloud.

    Returns
    -------
    Block, Cloud
        As they were where the photos tell the vertical well, or the house says nothing.
    """
    says = _says(segmentation, topology)
    if not says:
        return block, cloud
    row = np.array([s.row / s.sd for s in says])
    value = np.array([s.value / s.sd for s in says])
    information = row.T @ row + np.eye(2) / block.tilt_u_rad**2
    covariance = np.linalg.inv(information)
    lean = covariance @ row.T @ value
    misfit = float(((row @ lean - value) ** 2).sum() + (lean**2).sum() / block.tilt_u_rad**2)
    if misfit > chdtri(len(says), CHANCE):
        return _with(block, "level_house_disagrees", _disagreement(block, says, lean)), cloud
    if block.tilt_u_rad < WEAK_RAD:
        return block, cloud
    u_rad = float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
    source = f"{block.level_from}, and {_listed(says)} of the house"
    text = (
        f"level is by {_listed(says)} of the house, to {np.rad2deg(u_rad):.1f}° (standard uncertainty), for"
        " want of"
        " upright lines in the photos: pitches of opposite faces are taken as alike where they reach down"
        " alike"
    )
    turned = _turned(block, cloud, lean)
    kept = tuple(notice for notice in block.notices if notice.code != "level_weak")
    told = replace(
        turned[0],
        tilt_u_rad=u_rad,
        level_from=source,
        notices=(*kept, Notice(code="level_by_house", text=text)),
    )
    return told, turned[1]


def _says(segmentation: Segmentation, topology: Topology) -> list[_Says]:
    """What each ridge says, once a pair of planes."""
    found: list[_Says] = []
    done: set[tuple[int, int]] = set()
    for edge in topology.edges:
        pair = edge.curve.planes
        if pair is None or pair in done or len(edge.planes) != 2:
            continue
        first, second = (segmentation.planes[k] for k in pair)
        fall = [plane.normal[:2] / max(float(np.hypot(*plane.normal[:2])), 1e-9) for plane in (first, second)]
        if fall[0] @ fall[1] > OPPOSITE_COS:
            continue
        ends = [_corner(segmentation, topology, corner, pair[0]) for corner in (edge.start, edge.end)]
        if np.linalg.norm(ends[1] - ends[0]) < LEAST_RIDGE_M:
            continue
        done.add(pair)
        ridge = np.cross(first.normal, second.normal)
        ridge = ridge / np.linalg.norm(ridge)
        fit_sd = float(np.sqrt(max(np.linalg.eigvalsh(p.covariance[:2, :2])[-1] for p in (first, second))))
        found.append(
            _Says(
                row=ridge[:2], value=-float(ridge[2]), sd=float(np.hypot(RIDGE_SD_RAD, fit_sd)), alike=False
            )
        )
        reach = [_reach(segmentation, topology, face, ends[0], ridge) for face in edge.planes]
        if abs(reach[0] - reach[1]) < ALIKE_REACH * max(reach):
            middle = first.normal + second.normal
            middle = middle / np.linalg.norm(middle)
            across = np.array([-ridge[1], ridge[0]]) / np.hypot(*ridge[:2])
            sd = float(np.hypot(ALIKE_SD_RAD, fit_sd)) / 2  # half the difference of the pitches
            found.append(_Says(row=across, value=float(middle[:2] @ across / middle[2]), sd=sd, alike=True))
    return found


def _corner(segmentation: Segmentation, topology: Topology, corner: int, plane: int) -> Array:
    """Where a corner lies on a plane."""
    xy = topology.vertices[topology.corners[corner].vertex].xy
    own = segmentation.planes[plane]
    z = own.centroid[2] - own.normal[:2] @ (xy - own.centroid[:2]) / own.normal[2]
    return np.array([xy[0], xy[1], z])


def _reach(segmentation: Segmentation, topology: Topology, face: int, start: Array, ridge: Array) -> float:
    """How far a face reaches from its ridge, in its own plane [m]."""
    own = topology.faces[face]
    corners = np.array([_corner(segmentation, topology, corner, own.plane) for corner in own.loops[0]])
    return float(np.linalg.norm(np.cross(corners - start, ridge), axis=1).max())


def _turned(block: Block, cloud: Cloud, lean: Array) -> tuple[Block, Cloud]:
    """Turned about a level axis so that (lean, 1) is up."""
    up = np.array([lean[0], lean[1], 1.0]) / np.sqrt(1 + lean @ lean)
    axis = np.cross(up, [0.0, 0.0, 1.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    turn = np.eye(3) + cross + cross @ cross / (1 + up[2])
    photos = tuple(replace(photo, rotation=photo.rotation @ turn.T) for photo in block.photos)
    return (
        replace(block, photos=photos, points=block.points @ turn.T),
        replace(cloud, xyz=cloud.xyz @ turn.T),
    )


def _disagreement(block: Block, says: list[_Says], lean: Array) -> str:
    return (
        f"{_listed(says)} of the house put the vertical {np.rad2deg(np.hypot(*lean)):.1f}° off from"
        f" {block.level_from}, or contradict each other, beyond their doubt: the roof is not alike on both"
        " sides, or"
        " the level is wrong; check one pitch on site"
    )


def _listed(says: list[_Says]) -> str:
    ridges, pairs = sum(not s.alike for s in says), sum(s.alike for s in says)
    text = f"{ridges} level ridge{'s' if ridges != 1 else ''}"
    return f"{text} and {pairs} pair{'s' if pairs != 1 else ''} of like faces" if pairs else text


def _with(block: Block, code: str, text: str) -> Block:
    return replace(block, notices=(*block.notices, Notice(code=code, text=text)))
