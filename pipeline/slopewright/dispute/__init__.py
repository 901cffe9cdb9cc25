"""Dispute: the roof held against what others measured or listed, and what explains the differences."""

from .tape import check_tape, corner_pairs, edits_of, mark_used
from .tape_table import edges_named, read_again, read_tape

__all__ = ["check_tape", "corner_pairs", "edges_named", "edits_of", "mark_used", "read_again", "read_tape"]
