"""--at and --footprint: oracle is the definition, local = world x metres per unit - origin."""

import json

import numpy as np
import pytest
import shapely

from slopewright.errors import InputError
from slopewright.job.place import local_footprint, local_point
from slopewright.scene import Cloud

FOOT_M = 0.3048  # NIST SP 811


def cloud_in_feet() -> Cloud:
    xyz = np.array([[0.0, 0.0, 0.0], [30.0, 20.0, 5.0]])
    return Cloud(xyz=xyz, origin=np.array([600_000.0, 200_000.0, 0.0]) * FOOT_M, name="a.laz", unit="ft")


def polygon(ring):
    return {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}


RING = [(600_010.0, 200_010.0), (600_040.0, 200_010.0), (600_040.0, 200_030.0)]


def write(path, content):
    path.write_text(json.dumps(content))
    return path


def test_a_point_in_feet_becomes_local_metres():
    assert local_point((600_010.0, 200_020.0), cloud_in_feet()) == pytest.approx((3.048, 6.096))


@pytest.mark.parametrize("at", [(600_110.0, 200_020.0), (0.0, 0.0), (float("nan"), 200_020.0)])
def test_a_point_outside_names_what_the_cloud_spans(at):
    with pytest.raises(InputError, match=r"outside a\.laz, which spans x 600000\.0 to 600098\.4 and y .* ft"):
        local_point(at, cloud_in_feet())


@pytest.mark.parametrize(
    "wrap",
    [
        lambda g: g,
        lambda g: {"type": "Feature", "properties": {}, "geometry": g},
        lambda g: {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": g}]},
    ],
)
def test_a_footprint_may_be_bare_a_feature_or_a_collection(tmp_path, wrap):
    """The three ways of RFC 7946, sections 3.1 to 3.3."""
    found = local_footprint(write(tmp_path / "f.geojson", wrap(polygon(RING))), cloud_in_feet())
    wanted = shapely.Polygon([[3.048, 3.048], [12.192, 3.048], [12.192, 9.144]])
    assert found.equals_exact(wanted, 1e-6, normalize=True)


@pytest.mark.parametrize(
    ("content", "text"),
    [
        ({"type": "Point", "coordinates": [1, 2]}, "need one Polygon"),
        (polygon([(10.0, 50.0), (10.1, 50.0), (10.1, 50.1)]), "coordinates look like degrees"),
        (polygon([(5, 5), (900, 5), (900, 900)]), "lies outside a.laz"),
    ],
)
def test_a_file_that_is_no_footprint_is_refused_in_one_line(tmp_path, content, text):
    path = write(tmp_path / "f.geojson", content)
    with pytest.raises(InputError) as caught:
        local_footprint(path, cloud_in_feet())
    assert text in str(caught.value)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_or_broken_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        local_footprint(tmp_path / "none.geojson", cloud_in_feet())
    (tmp_path / "broken.geojson").write_text("{")
    with pytest.raises(InputError, match="not JSON"):
        local_footprint(tmp_path / "broken.geojson", cloud_in_feet())
