"""Pictures for a person to check the roof, and what stands on it, against the cast house."""

from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
import rendered_houses as house

from conftest import Measured
from slopewright.outputs import photo_pictures
from slopewright.photos import objects, things_on
from slopewright.photos.model import Block
from slopewright.photos.orthophoto import sheet_of, taken
from slopewright.photos.overlay import faces_of
from slopewright.photos.read import load_pixels
from slopewright.roof import Roof


@pytest.fixture(scope="module")
def things(measured: Measured) -> tuple[objects.FoundObject, ...]:
    return things_on(measured.points, measured.roof)


@pytest.fixture(scope="module")
def files(measured: Measured, cast: Block, things: tuple[objects.FoundObject, ...]) -> dict[str, bytes]:
    roof = replace(measured.roof, objects=tuple(each.thing for each in things))
    return photo_pictures(cast, roof, things)


def plane_named(roof: Roof, name: str) -> int:
    """Index of the measured plane that is a face of the house."""
    a, b, _ = house.PLANES[name]
    normal = np.array([-a, -b, 1.0]) / np.sqrt(1 + a * a + b * b)
    return max(range(len(roof.planes)), key=lambda n: float(roof.planes[n].normal @ normal))


def test_chimney_and_vent_are_found_and_nothing_else(things: tuple[objects.FoundObject, ...]) -> None:
    """Oracle: where the boxes stand in the scene; matching makes them some pixels wider."""
    assert sorted(each.thing.kind for each in things) == ["chimney", "vent"]
    for each in things:
        (x, y), side, top = house.CHIMNEY if each.thing.kind == "chimney" else house.VENT
        assert np.hypot(each.thing.position[0] - x, each.thing.position[1] - y) < 0.15
        assert each.thing.size == pytest.approx((side, side), abs=0.3)
        assert each.height_m == pytest.approx(top, abs=0.3)
        assert 0.5 <= each.confidence <= 1.0


def test_index_says_what_every_file_shows(files: dict[str, bytes], measured: Measured) -> None:
    index = json.loads(files["photos/index.json"])
    assert {entry["file"] for entry in index["files"]} == set(files) - {"photos/index.json"}
    names = {plane.id for plane in measured.roof.planes}
    for shown in ("planes and edges", "plane square on"):
        assert {p for e in index["files"] if e["shows"] == shown for p in e["planes"]} == names
    assert index["not_seen"] == []
    assert {each["kind"] for each in index["objects"]} == {"chimney", "vent"}


def test_pictures_are_pictures_of_a_fair_size(files: dict[str, bytes]) -> None:
    for name, content in files.items():
        if name.endswith(".jpg"):
            picture = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
            assert picture is not None and max(picture.shape) <= 1600, name
    assert sum(map(len, files.values())) < 4_000_000


def test_an_orthophoto_shows_each_spot_of_the_plane_at_its_scale(measured: Measured, cast: Block) -> None:
    """Oracle: the vent's middle, from the scene; distances on the sheet are those on the slope."""
    roof = measured.roof
    n = plane_named(roof, "back")
    sheet = sheet_of(roof, n, 0.035)
    assert sheet.px_per_m == 25 and sheet.top == "up the slope"
    ring = roof.ring(roof.planes[n].loops[0])
    on_sheet = sheet.pixels(ring)
    lengths = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    drawn = np.linalg.norm(np.roll(on_sheet, -1, axis=0) - on_sheet, axis=1)
    np.testing.assert_allclose(drawn, 25 * lengths, rtol=1e-6)
    eave = ring[:, 2] < ring[:, 2].mean()
    assert on_sheet[eave, 1].min() > on_sheet[~eave, 1].max()  # the eave is at the bottom
    # A spot of a sheet as fine as the photo has its colour where the photo has that spot.
    sheet = sheet_of(roof, n, 0.02)
    photo = cast.photos[0]
    pixels = load_pixels(photo.path)
    picture = taken(sheet, photo, pixels, faces_of(roof))
    spots = sheet.spots()
    seen = np.argwhere(np.isfinite(picture[..., 0]))
    assert len(seen) > 1000
    for row, column in seen[:: len(seen) // 40]:
        x, y = photo.project(spots[row, column][None])[0]
        around = pixels[int(y) : int(y) + 2, int(x) : int(x) + 2].reshape(-1, 3).astype(float)
        assert (picture[row, column] >= around.min(axis=0) - 1).all()
        assert (picture[row, column] <= around.max(axis=0) + 1).all()


def test_hidden_parts_of_a_plane_are_not_taken(measured: Measured, cast: Block) -> None:
    """A camera low in the north does not see the front face behind the ridge."""
    roof = measured.roof
    n = plane_named(roof, "front")
    eye = np.array([0.0, 30.0, 4.0])
    rotation, translation = house.look_at(eye, np.array([0.0, 0.0, 3.0]))
    photo = replace(cast.photos[0], rotation=rotation, translation=translation)
    grey = np.full((photo.camera.height_px, photo.camera.width_px, 3), 90, np.uint8)
    sheet, faces = sheet_of(roof, n, 0.035), faces_of(roof)
    gone = np.isnan(taken(sheet, photo, grey, faces)).all(axis=-1)
    own = faces.holds(n, sheet.spots().reshape(-1, 3)[:, :2]).reshape(gone.shape)
    assert (
        gone[own].mean() > 0.93
    )  # next to the ridge spots are clear of the face behind, or asked for coarsely
    assert gone[~own].mean() < 0.6
