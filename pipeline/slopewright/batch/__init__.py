"""Many captures: a job a roof, each in a process of its own, any number at a time, resumable."""

from .entry import Entry
from .gates import Gates, read_gates
from .isolated import Answer
from .manifest import read_manifest
from .roofs_file import read_roofs
from .row import MEASURED, Row, Status
from .whole import BatchResult, MappedSurvey, Request, paths_of, run

__all__ = [
    "MEASURED",
    "Answer",
    "BatchResult",
    "Entry",
    "Gates",
    "MappedSurvey",
    "Request",
    "Row",
    "Status",
    "paths_of",
    "read_gates",
    "read_manifest",
    "read_roofs",
    "run",
]
