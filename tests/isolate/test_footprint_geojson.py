"""Footprints from GeoJSON.  Oracle: RFC 7946 section 3.1.6 (rings) and its examples in appendix A.3."""

import pytest

from slopewright.errors import InputError
from slopewright.isolate import footprint_from_geojson

RING = [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]
HOLE = [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]]
POLYGON = {"type": "Polygon", "coordinates": [RING]}
FEATURE = {"type": "Feature", "properties": {}, "geometry": POLYGON}


@pytest.mark.parametrize(
    "document",
    [
        POLYGON,
        FEATURE,
        {"type": "FeatureCollection", "features": [FEATURE]},
        {"type": "MultiPolygon", "coordinates": [[RING]]},
        {"type": "Polygon", "coordinates": [[[*corner, 7.5] for corner in RING]]},
        {"type": "Polygon", "coordinates": [RING[::-1]]},
    ],
)
def test_every_way_to_write_one_polygon_is_read(document):
    polygon = footprint_from_geojson(document, file="roof.geojson")
    assert polygon.area == pytest.approx(1.0)
    assert polygon.exterior.is_ccw


def test_holes_are_read():
    """Appendix A.3: a unit square with a hole of 0.6 x 0.6."""
    polygon = footprint_from_geojson({"type": "Polygon", "coordinates": [RING, HOLE]}, file="f")
    assert polygon.area == pytest.approx(1 - 0.36)


BOWTIE = [[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ([], "is a list, need a GeoJSON object"),
        ({}, "type: missing"),
        ({"type": "Point", "coordinates": [0, 0]}, "geometry is a Point, need one Polygon"),
        ({"type": "MultiPolygon", "coordinates": [[RING], [RING]]}, "MultiPolygon of 2 parts, need one"),
        ({"type": "FeatureCollection", "features": [FEATURE] * 2}, "2 features, need one feature"),
        ({"type": "FeatureCollection"}, "features: no list"),
        ({"type": "Feature", "geometry": None}, "is a NoneType, need a GeoJSON object"),
        ({"type": "Polygon", "coordinates": []}, "no rings"),
        ({"type": "Polygon", "coordinates": "x"}, "no rings"),
        ({"type": "Polygon", "coordinates": [RING[:3]]}, r"coordinates\[0\]: fewer than 4"),
        ({"type": "Polygon", "coordinates": [RING[:4]]}, r"coordinates\[0\]: first and last position differ"),
        ({"type": "Polygon", "coordinates": [["a"] * 4]}, r"coordinates\[0\]: not a list of \[x, y\]"),
        ({"type": "Polygon", "coordinates": [RING, [[0, float("nan")]] * 4]}, r"\[1\]: a number that is not"),
        ({"type": "Polygon", "coordinates": [BOWTIE]}, "Self-intersection.*need an outline"),
        ({"type": "Polygon", "coordinates": [[[0, 0]] * 4]}, "polygon: "),
    ],
)
def test_what_is_no_footprint_is_refused_by_file(document, message):
    with pytest.raises(InputError, match=message) as caught:
        footprint_from_geojson(document, file="roof.geojson")
    assert str(caught.value).startswith("roof.geojson: ")
