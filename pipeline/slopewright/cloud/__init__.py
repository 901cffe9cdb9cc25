"""Reading point clouds: any format and unit in, metres at a local origin out."""

from .plausible import check_house_size, check_size
from .query import Tile, guid_of, las_bytes, open_tile, points_under, tiles_in
from .read import read_cloud
from .resolve import resolve_units

__all__ = [
    "Tile",
    "check_house_size",
    "check_size",
    "guid_of",
    "las_bytes",
    "open_tile",
    "points_under",
    "read_cloud",
    "resolve_units",
    "tiles_in",
]
