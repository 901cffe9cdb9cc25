"""What leaves the program: files that other programs read, and what a person reads."""

from .cloud_file import cloud_laz
from .compare_file import compare_json, listed_from_json
from .compare_text import compare_text
from .grid import Grid, grid_of
from .joint_file import covariance_json
from .jsonfile import json_bytes, read_json
from .mesh_file import glb_bytes, obj_bytes
from .pdf import report_pdf
from .pictures import Picture, pictures_of
from .plan import plan_svg
from .provenance import Provenance, SourceFile
from .results import run, tables
from .roof_file import roof_from_json, roof_json
from .state_file import state_from_json, state_json
from .summary import summary_text
from .takeoff_file import takeoff_from_json, takeoff_json
from .takeoff_table import takeoff_csv
from .tape_file import tape_from_json, tape_json
from .tape_text import tape_text

__all__ = [
    "Grid",
    "Picture",
    "Provenance",
    "SourceFile",
    "cloud_laz",
    "compare_json",
    "compare_text",
    "covariance_json",
    "glb_bytes",
    "grid_of",
    "json_bytes",
    "listed_from_json",
    "obj_bytes",
    "pictures_of",
    "plan_svg",
    "read_json",
    "report_pdf",
    "roof_from_json",
    "roof_json",
    "run",
    "state_from_json",
    "state_json",
    "summary_text",
    "tables",
    "takeoff_csv",
    "takeoff_from_json",
    "takeoff_json",
    "tape_from_json",
    "tape_json",
    "tape_text",
]
