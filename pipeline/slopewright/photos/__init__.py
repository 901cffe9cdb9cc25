"""From photos to a levelled metric cloud with known doubt, and from marks in photos to planes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..roof import Roof
from ..scene import Cloud, RoofPoints, Segmentation, Topology
from .cameras_file import CAMERAS_FILE, cameras_json
from .corners import CornerRoof
from .even import levelled_by_house
from .marks import MARKS_FILE, Mark, Marks, read_marks
from .model import Block, Camera, PosedPhoto
from .scale import KnownLength
from .triage import Triage, triage

if TYPE_CHECKING:
    from .objects import FoundObject
    from .overlay import Looks

__all__ = [
    "CAMERAS_FILE",
    "MARKS_FILE",
    "Block",
    "Camera",
    "CornerRoof",
    "KnownLength",
    "Mark",
    "Marks",
    "PosedPhoto",
    "Triage",
    "cameras_json",
    "dense_cloud",
    "evidence_of",
    "levelled_by_house",
    "place",
    "place_edges",
    "read_marks",
    "things_on",
    "triage",
]


def place(
    triage: Triage, marks: Marks, known: Sequence[KnownLength], *, rng: np.random.Generator
) -> Block | CornerRoof:
    """Photos placed, or the roof that marked corners make: see `by_corners.place_or_trace`."""
    from .by_corners import place_or_trace

    return place_or_trace(triage, marks, known, rng=rng)


def dense_cloud(block: Block) -> Cloud:
    """The dense cloud of a block: see `dense.run`."""
    from . import dense  # with OpenCV, which clouds do not need

    return dense.run(block)


def place_edges(block: Block, segmentation: Segmentation, topology: Topology) -> Topology:
    """Free edges as the photos show them: see `boundaries.run`."""
    from . import boundaries

    return boundaries.run(block, segmentation, topology)


def things_on(points: RoofPoints, roof: Roof) -> tuple[FoundObject, ...]:
    """What stands on a roof, by the cloud made from photos: see `objects.run`."""
    from . import objects

    return objects.run(points, roof)


def evidence_of(block: Block, roof: Roof, looks: Looks, things: tuple[FoundObject, ...]) -> dict[str, bytes]:
    """Pictures that let a person check the roof: see `evidence.run`."""
    from .evidence import run

    return run(block, roof, looks, things)
