"""Desks to speak to."""

import shutil

import pytest

from desk.served import SAMPLE, serving


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A page of an empty desk."""
    with serving(tmp_path_factory.mktemp("desk") / "jobs") as served:
        yield served


@pytest.fixture(scope="module")
def working(tmp_path_factory):
    """A page of a desk with the sample house measured in it."""
    with serving(tmp_path_factory.mktemp("desk") / "jobs") as served:
        shutil.copytree(SAMPLE, served.places.root / "house")
        assert served.client.post("/api/jobs/house/runs", json={}).status_code == 202
        served.wait("house")
        yield served
