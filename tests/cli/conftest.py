"""The command line as a person calls it, and stand-ins for three stages that its tests need not wait for."""

from __future__ import annotations

import dataclasses
import types

import pytest

import slopewright.adjust
import slopewright.edges
import slopewright.scrutiny
from report.hand_roofs import gable
from slopewright.cli import main


@dataclasses.dataclass(frozen=True)
class Answer:
    """What a command left."""

    status: int
    out: str
    err: str


@pytest.fixture
def slopewright_(capsys):
    """Call the command line in this process."""

    def call(*arguments) -> Answer:
        capsys.readouterr()
        status = main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Answer(status, captured.out, captured.err)

    return call


@pytest.fixture
def calls(monkeypatch):
    """Stages edges and adjust answer with a hand-made gable, which scrutiny lets pass; the list of calls."""
    made: list[str] = []

    def edges(points, segmentation):
        made.append("edges")
        assert len(points.xyz) == len(segmentation.labels)
        return types.SimpleNamespace(notices=())

    def adjust(points, segmentation, topology, frame, config=None):
        made.append("adjust")
        return dataclasses.replace(gable(), frame=frame)

    monkeypatch.setattr(slopewright.edges, "run", edges)
    monkeypatch.setattr(slopewright.adjust, "run", adjust)
    monkeypatch.setattr(slopewright.scrutiny, "run", lambda points, segmentation, roof: ())
    return made
