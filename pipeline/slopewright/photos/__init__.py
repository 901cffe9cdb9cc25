"""From photos to a levelled metric cloud with known doubt, and from marks in photos to planes."""

from ..scene import Cloud, Segmentation, Topology
from .cameras_file import CAMERAS_FILE, cameras_json
from .even import levelled_by_house
from .marks import MARKS_FILE, Mark, Marks, read_marks
from .model import Block, Camera, PosedPhoto
from .scale import KnownLength
from .stage import place
from .triage import Triage, triage

__all__ = [
    "CAMERAS_FILE",
    "MARKS_FILE",
    "Block",
    "Camera",
    "KnownLength",
    "Mark",
    "Marks",
    "PosedPhoto",
    "Triage",
    "cameras_json",
    "dense_cloud",
    "levelled_by_house",
    "place",
    "place_edges",
    "read_marks",
    "triage",
]


def dense_cloud(block: Block) -> Cloud:
    """The dense cloud of a block: see `dense.run`."""
    from . import dense  # with OpenCV, which clouds do not need

    return dense.run(block)


def place_edges(block: Block, segmentation: Segmentation, topology: Topology) -> Topology:
    """Free edges as the photos show them: see `boundaries.run`."""
    from . import boundaries

    return boundaries.run(block, segmentation, topology)
