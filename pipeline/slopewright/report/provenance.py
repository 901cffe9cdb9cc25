"""What a result came from, as the report prints it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFile:
    """One input."""

    role: str  # "cloud", "photo", "marks", "job", "footprint" or "system"
    name: str
    n_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What another needs to compute the same bytes; and why the result is not certified, if it is not."""

    version: str = ""  # of slopewright
    source: str = ""  # SHA-256 of its own files
    libraries: Mapping[str, str] = field(default_factory=dict)
    inputs: tuple[SourceFile, ...] = ()
    options: Mapping[str, Any] = field(default_factory=dict)
    request: Mapping[str, Any] = field(default_factory=dict)  # what the job says of site, scope and counts
    seeds: Mapping[str, int] = field(default_factory=dict)
    not_certified: tuple[str, ...] = ()
