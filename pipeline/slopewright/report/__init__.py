"""What leaves the program: files that other programs read, and what a person reads."""

from .joint_file import covariance_json
from .jsonfile import json_bytes, read_json
from .roof_file import roof_from_json, roof_json
from .takeoff_file import takeoff_from_json, takeoff_json

__all__ = [
    "covariance_json",
    "json_bytes",
    "read_json",
    "roof_from_json",
    "roof_json",
    "takeoff_from_json",
    "takeoff_json",
]
