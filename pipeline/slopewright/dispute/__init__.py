"""Dispute: the roof held against what others measured or listed, and what explains the differences."""

from .compare import DEFAULT_EXPOSURE_M, compare
from .other_table import read_names, read_other
from .ours import Ours, our_quantities
from .tape import check_tape, corner_pairs, edits_of, mark_held, mark_used
from .tape_table import edges_named, read_again, read_tape

__all__ = [
    "DEFAULT_EXPOSURE_M",
    "Ours",
    "check_tape",
    "compare",
    "corner_pairs",
    "edges_named",
    "edits_of",
    "mark_held",
    "mark_used",
    "our_quantities",
    "read_again",
    "read_names",
    "read_other",
    "read_tape",
]
