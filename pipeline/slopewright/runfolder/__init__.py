"""The run folder: written whole or not at all, with a record of what it came from."""

from .clock import TIMES_FILE, Clock, Progress
from .folder import previous_run, written_whole
from .record import (
    RECORD_FILE,
    Digest,
    RunRecord,
    digest_file,
    digest_folder,
    key_of,
    library_versions,
    source_digest,
)

__all__ = [
    "RECORD_FILE",
    "TIMES_FILE",
    "Clock",
    "Digest",
    "Progress",
    "RunRecord",
    "digest_file",
    "digest_folder",
    "key_of",
    "library_versions",
    "previous_run",
    "source_digest",
    "written_whole",
]
