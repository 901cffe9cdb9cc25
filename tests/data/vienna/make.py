"""Make roofs.json.gz from the sdist of cjdb 2.3.0 (see NOTICE.md).

python tests/data/vienna/make.py cjdb-2.3.0.tar.gz tests/data/vienna/roofs.json.gz
"""

import argparse
import gzip
import json
import tarfile
from pathlib import Path

MEMBER = "cjdb-2.3.0/tests/files/vienna.jsonl"
PUBLISHED = ("FlaechenUUID", "Flaeche", "Dachneigung", "Dachorientierung")


def roof_parts(lines: list[str]) -> list[dict]:
    """Every city object with roof surfaces: its attributes, and rings in whole millimetres as stored."""
    parts = []
    for feature in map(json.loads, lines):
        corners = feature["vertices"]
        for identifier, city_object in feature["CityObjects"].items():
            for geometry in city_object.get("geometry", []):
                if "semantics" not in geometry:
                    continue  # the solid repeats the faces of the labelled surfaces
                meanings = geometry["semantics"]["surfaces"]
                faces = [
                    (meanings[k], [[corners[i] for i in ring] for ring in rings])
                    for rings, k in zip(geometry["boundaries"], geometry["semantics"]["values"], strict=True)
                ]
                parts.append(
                    {
                        "id": identifier,
                        "roofType": city_object["attributes"].get("roofType"),
                        "ground": [rings for meaning, rings in faces if meaning["type"] == "GroundSurface"],
                        "roof": [
                            {**{name: meaning[name] for name in PUBLISHED}, "rings": rings}
                            for meaning, rings in faces
                            if meaning["type"] == "RoofSurface"
                        ],
                    }
                )
    return [part for part in parts if part["roof"]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sdist", type=Path)
    parser.add_argument("out", type=Path)
    arguments = parser.parse_args()
    with tarfile.open(arguments.sdist) as sdist:
        member = sdist.extractfile(MEMBER)
        if member is None:
            raise SystemExit(f"{arguments.sdist}: no {MEMBER}")
        head, *features = member.read().decode("utf-8").splitlines()
    transform = json.loads(head)["transform"]
    content = {
        "scale_m": transform["scale"],
        "origin_m": transform["translate"],
        "parts": roof_parts(features),
    }
    text = json.dumps(content, separators=(",", ":"), ensure_ascii=False)
    arguments.out.write_bytes(gzip.compress(text.encode("utf-8"), mtime=0))


if __name__ == "__main__":
    main()
