"""Reading point clouds: any format and unit in, metres at a local origin out."""

from .plausible import check_house_size, check_size
from .read import read_cloud

__all__ = ["check_house_size", "check_size", "read_cloud"]
