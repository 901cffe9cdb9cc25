"""Make sample_inputs/hall/cloud.laz from `building.ply` of CGAL's data (see sample_inputs/hall/NOTICE.md).

python tests/data/make_hall.py building.ply sample_inputs/hall/cloud.laz
"""

import argparse
import datetime
from pathlib import Path

import laspy
import numpy as np

COLUMNS = ["x", "y", "z", "nx", "ny", "nz", "segment_index"]
SCALE_M = 0.001
FIXED_DATE = datetime.date(2022, 1, 1)  # so that the file comes out the same, byte for byte, on any day


def read_labelled_ply(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates (n, 3) and segment_index (n,) of the ASCII file."""
    with path.open(encoding="ascii") as lines:
        header = []
        for line in lines:
            header.append(line.strip())
            if header[-1] == "end_header":
                break
        names = [line.split()[-1] for line in header if line.startswith("property")]
        if names != COLUMNS:
            raise SystemExit(f"{path}: properties {names}, need {COLUMNS}")
        table = np.loadtxt(lines)
    return table[:, :3], table[:, 6].astype(np.int8)


def write_laz(path: Path, xyz: np.ndarray, segment_index: np.ndarray) -> None:
    """All points as LAS 1.4, without a CRS; the published labels as the extra dimension `segment_index`."""
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales = np.full(3, SCALE_M)
    header.offsets = np.zeros(3)
    header.creation_date = FIXED_DATE
    header.generating_software = "make_hall.py"
    header.add_extra_dim(laspy.ExtraBytesParams("segment_index", np.int8, "published label, -1 none"))
    cloud = laspy.LasData(header)
    cloud.xyz = xyz
    cloud.segment_index = segment_index
    cloud.return_number[:] = 1
    cloud.number_of_returns[:] = 1
    cloud.write(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("ply", type=Path)
    parser.add_argument("laz", type=Path)
    arguments = parser.parse_args()
    write_laz(arguments.laz, *read_labelled_ply(arguments.ply))


if __name__ == "__main__":
    main()
