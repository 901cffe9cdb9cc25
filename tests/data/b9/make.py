"""Make tests/data/b9/cloud.laz from `b9_training.ply` of CGAL's data (see NOTICE.md beside this file).

python tests/data/b9/make.py b9_training.ply tests/data/b9/cloud.laz
"""

import argparse
import datetime
from pathlib import Path

import laspy
import numpy as np
import trimesh

CLASS_OF_LABEL = {-1: 0, 0: 2, 1: 5, 2: 6}  # none, ground, vegetation, roof as ASPRS classes
FIXED_DATE = datetime.date(2022, 1, 1)  # so that the file comes out the same, byte for byte, on any day


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("ply", type=Path)
    parser.add_argument("laz", type=Path)
    arguments = parser.parse_args()
    vertex = trimesh.load(arguments.ply, process=False).metadata["_ply_raw"]["vertex"]["data"]
    xyz = np.column_stack([np.ravel(vertex[axis]) for axis in "xyz"])
    header = laspy.LasHeader(version="1.2", point_format=0)
    header.scales = np.full(3, 0.01)
    header.offsets = np.floor(xyz.min(axis=0))
    header.creation_date = FIXED_DATE
    header.generating_software = "make.py"
    cloud = laspy.LasData(header)
    cloud.xyz = xyz
    labels = np.ravel(vertex["label"])
    classes = np.zeros(len(xyz), dtype=np.uint8)
    for label, code in CLASS_OF_LABEL.items():
        classes[labels == label] = code
    cloud.classification = classes
    cloud.write(arguments.laz)


if __name__ == "__main__":
    main()
