"""Make roofs.json.gz from the sdist of cjdb 2.3.0 (see NOTICE.md).

python tests/data/bag3d/make.py cjdb-2.3.0.tar.gz tests/data/bag3d/roofs.json.gz
"""

import argparse
import gzip
import json
import tarfile
from pathlib import Path

FOLDER = "cjdb-2.3.0/tests/files/"
MEMBERS = ("cjfiles/5870_ext.jsonl", "cjfiles/tile_901_trimmed.jsonl", "extension.city.jsonl")
LOD = "2.2"


def roof_parts(head: str, features: list[str]) -> list[dict]:
    """Every building part with roof surfaces: their rings in whole millimetres, and its lowest height."""
    scale = json.loads(head)["transform"]["scale"]
    if scale != [0.001, 0.001, 0.001]:
        raise SystemExit(f"need millimetres, got {scale}")
    parts = []
    for feature in map(json.loads, features):
        corners = feature["vertices"]
        for identifier, city_object in feature["CityObjects"].items():
            for geometry in city_object.get("geometry", []):
                if str(geometry["lod"]) != LOD or geometry["type"] != "Solid":
                    continue
                meanings = geometry["semantics"]["surfaces"]
                faces = zip(geometry["boundaries"][0], geometry["semantics"]["values"][0], strict=True)
                roof = [
                    [[corners[i] for i in ring] for ring in rings]
                    for rings, k in faces
                    if meanings[k]["type"] == "RoofSurface"
                ]
                used = {i for rings in geometry["boundaries"][0] for ring in rings for i in ring}
                parts.append({"id": identifier, "foot": min(corners[i][2] for i in used), "roof": roof})
    return [part for part in parts if part["roof"]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sdist", type=Path)
    parser.add_argument("out", type=Path)
    arguments = parser.parse_args()
    parts = []
    with tarfile.open(arguments.sdist) as sdist:
        for name in MEMBERS:
            member = sdist.extractfile(FOLDER + name)
            if member is None:
                raise SystemExit(f"{arguments.sdist}: no {name}")
            head, *features = member.read().decode("utf-8").splitlines()
            parts += roof_parts(head, features)
    text = json.dumps({"scale_m": 0.001, "parts": parts}, separators=(",", ":"))
    arguments.out.write_bytes(gzip.compress(text.encode("utf-8"), mtime=0))


if __name__ == "__main__":
    main()
