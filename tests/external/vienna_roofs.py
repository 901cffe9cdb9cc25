"""Vienna's roof surfaces and what the city publishes of each (see tests/data/vienna).  Metres, degrees."""

import gzip
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

ROOFS = Path(__file__).parent.parent / "data" / "vienna" / "roofs.json.gz"


@dataclass(frozen=True, kw_only=True, eq=False)
class RoofSurface:
    """A roof surface: its rings in space, the outer first, and its published attributes."""

    id: str
    rings: tuple[np.ndarray, ...]
    area_m2: float
    pitch_deg: float
    azimuth_deg: float | None  # None where -1 is published: level


@dataclass(frozen=True, kw_only=True, eq=False)
class BuildingPart:
    """A building or a part of one, with all its roof surfaces."""

    id: str
    roof_type: str | None
    ground_z_m: float
    surfaces: tuple[RoofSurface, ...]


@cache
def building_parts() -> tuple[BuildingPart, ...]:
    """All of them, in the order of the file; coordinates are relative to the file's origin."""
    content = json.loads(gzip.decompress(ROOFS.read_bytes()))
    scale_m = np.array(content["scale_m"])
    return tuple(
        BuildingPart(
            id=part["id"],
            roof_type=part["roofType"],
            ground_z_m=min(corner[2] for rings in part["ground"] for ring in rings for corner in ring)
            * scale_m[2],
            surfaces=tuple(_surface(surface, scale_m) for surface in part["roof"]),
        )
        for part in content["parts"]
    )


def _surface(published: dict, scale_m: np.ndarray) -> RoofSurface:
    azimuth_deg = float(published["Dachorientierung"])
    return RoofSurface(
        id=published["FlaechenUUID"],
        rings=tuple(np.array(ring) * scale_m for ring in published["rings"]),
        area_m2=float(published["Flaeche"]),
        pitch_deg=90 - float(published["Dachneigung"]),  # published from the vertical
        azimuth_deg=None if azimuth_deg == -1 else azimuth_deg,
    )
