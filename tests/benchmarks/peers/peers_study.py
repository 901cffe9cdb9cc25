"""The planes stage beside general-purpose plane finders, on the same clouds in the same run.

    g++ -O2 -std=c++17 -w -I/usr/include/eigen3 cgal_planes.cpp -lgmp -lmpfr -o cgal_planes
    python peers_study.py --cgal ./cgal_planes > peers_study.md

Needs Debian's libcgal-dev and libeigen3-dev (CGAL 5.5: region growing, efficient RANSAC), and open3d
(segment_plane, detect_planar_patches); a peer that is missing is left out.  Every peer gets the points of
the roof with what stands over it and the walls under it, cut out by the true outline, and its settings are
the best of a grid on roofs that are not in the table.  Metres, degrees.
"""

from __future__ import annotations

import argparse
import itertools
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from simulate import TrueRoof, airborne, draw_surroundings, photogrammetry, random_roof, roof_points_of
from slopewright import adjust, edges, planes
from slopewright.errors import SlopewrightError
from slopewright.roof import Frame
from slopewright.scene import Array, Labels, RoofPoints

KINDS = (
    "gable",
    "hip",
    "cross_gable",
    "l_hip",
    "gable_dormer",
    "shed_dormer",
    "mansard",
    "two_level",
    "gablet",
    "porch",
)
CLASSES = {"lidar 8": 8.0, "lidar 25": 25.0, "drone 300": 300.0}
LEAST_M2 = {"lidar 8": 5.0, "lidar 25": 2.0, "drone 300": 2.0}
OVERLAP, ANGLE_DEG = 0.5, 5.0
STEEPEST_DEG = 72.0  # steeper planes are walls
TUNING_SEEDS = range(1000, 1002)

Settings = tuple[float, ...]
Finder = Callable[[RoofPoints, Settings], tuple[Labels, float]]  # labels, seconds of the processor


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """One roof by one finder."""

    true: int  # faces large enough
    found: int
    planes: int  # planes large enough, walls left out
    correct: int
    one_to_one: float  # mean over true faces of the best intersection over union, by points
    area_error: float  # of all hulls together, relative
    seconds: float
    points: int


def capture(name: str, kind: str, seed: int) -> tuple[TrueRoof, RoofPoints, Labels]:
    """A drawn roof, its points, and the true face of each."""
    truth = random_roof(kind, np.random.default_rng([seed, 1]))
    around = draw_surroundings(truth, np.random.default_rng([seed, 2]))
    rng, density = np.random.default_rng([seed, 3]), CLASSES[name]
    if name.startswith("drone"):
        sim = photogrammetry(truth, rng, density=density, surroundings=around)
    else:
        sim = airborne(
            truth, rng, density=density, noise_m=0.03 if density > 10 else 0.05, surroundings=around
        )
    points = roof_points_of(sim, truth)
    return truth, points, sim.label[points.indices]


def ours(points: RoofPoints, settings: Settings) -> tuple[Labels, float]:
    """The planes stage; it has no settings."""
    start = time.process_time()
    labels = planes.run(points).labels
    return labels, time.process_time() - start


def cgal(program: Path, way: str) -> Finder:
    """CGAL's region growing or efficient RANSAC."""

    def find(points: RoofPoints, settings: Settings) -> tuple[Labels, float]:
        epsilon, angle, least_m2, reach = settings
        least = max(3, round(least_m2 * density_of(points)))
        command = [str(program), way, str(epsilon), str(angle), str(least), str(reach)]
        xyz = np.ascontiguousarray(points.xyz, dtype=np.float64)
        done = subprocess.run(command, input=xyz.tobytes(), capture_output=True, check=True)
        return np.frombuffer(done.stdout, dtype=np.int32), float(done.stderr)

    return find


def segment_plane(points: RoofPoints, settings: Settings) -> tuple[Labels, float]:
    """Open3D's RANSAC for one plane, again and again on what is left."""
    import open3d

    epsilon, least_m2 = settings
    least = max(3, round(least_m2 * density_of(points)))
    labels, left = np.full(len(points.xyz), -1, dtype=np.int32), np.arange(len(points.xyz))
    open3d.utility.random.seed(1)
    start = time.process_time()
    for k in range(40):
        if len(left) < least:
            break
        cloud = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points.xyz[left]))
        _, rows = cloud.segment_plane(epsilon, 3, 2000)
        if len(rows) < least:
            break
        labels[left[rows]] = k
        left = np.delete(left, rows)
    return labels, time.process_time() - start


def planar_patches(points: RoofPoints, settings: Settings) -> tuple[Labels, float]:
    """Open3D's detection of planar patches; a point belongs to the nearest patch that holds it."""
    import open3d

    normal_deg, coplanarity_deg, outliers, least_m2 = settings
    start = time.process_time()
    cloud = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points.xyz.copy()))
    cloud.estimate_normals(open3d.geometry.KDTreeSearchParamKNN(16))
    patches = cloud.detect_planar_patches(
        normal_variance_threshold_deg=normal_deg,
        coplanarity_deg=coplanarity_deg,
        outlier_ratio=outliers,
        min_plane_edge_length=0.0,
        min_num_points=max(3, round(least_m2 * density_of(points))),
        search_param=open3d.geometry.KDTreeSearchParamKNN(16),
    )
    labels, best = np.full(len(points.xyz), -1, dtype=np.int32), np.full(len(points.xyz), np.inf)
    for k, box in enumerate(patches):
        within = (points.xyz - box.center) @ box.R
        half = np.maximum(np.asarray(box.extent) / 2, 0.1)
        away = np.abs(within[:, 2])
        mine = (np.abs(within) <= half).all(axis=1) & (away < best)
        labels[mine], best[mine] = k, away[mine]
    return labels, time.process_time() - start


def density_of(points: RoofPoints) -> float:
    """Points per m² of plan."""
    return len(points.xyz) / points.area_m2


def score(
    truth: TrueRoof, points: RoofPoints, true: Labels, labels: Labels, seconds: float, least_m2: float
) -> Score:
    """Hold labels against the truth."""
    density = density_of(points)
    surfaces = {k: np.flatnonzero(true == k) for k in range(len(truth.planes))}
    kept: dict[int, tuple[Array, Array]] = {}
    for j in np.unique(labels[labels >= 0]):
        rows = np.flatnonzero(labels == j)
        normal = _normal(points.xyz[rows]) if len(rows) >= 3 else np.array([1.0, 0, 0])
        if normal[2] > np.cos(np.radians(STEEPEST_DEG)):
            kept[int(j)] = (rows, normal)
    big = {k for k, plane in enumerate(truth.planes) if plane.area_m2 >= least_m2}
    matched_true, matched, unions = set(), set(), []
    for k, rows in surfaces.items():
        best = 0.0
        for j, (own, normal) in kept.items():
            common = len(np.intersect1d(rows, own, assume_unique=True))
            best = max(best, common / max(len(rows) + len(own) - common, 1))
            near = normal @ truth.planes[k].normal > np.cos(np.radians(ANGLE_DEG))
            if near and common > OVERLAP * max(len(rows), len(own)):
                matched_true.add(k)
                matched.add(j)
        unions.append(best)
    large = {j for j, (rows, _) in kept.items() if len(rows) >= least_m2 * density}
    hulls = sum(_hull_m2(points.xyz[rows], normal) for rows, normal in kept.values())
    return Score(
        true=len(big),
        found=len(big & matched_true),
        planes=len(large),
        correct=len(large & matched),
        one_to_one=float(np.mean(unions)),
        area_error=hulls / truth.area_m2 - 1,
        seconds=seconds,
        points=len(points.xyz),
    )


def _normal(xyz: Array) -> Array:
    _, _, axes = np.linalg.svd(xyz - xyz.mean(axis=0), full_matrices=False)
    normal = axes[2]
    return np.asarray(normal if normal[2] > 0 else -normal)


def _hull_m2(xyz: Array, normal: Array) -> float:
    """Area on the plane of the concave hull of a plane's points in plan."""
    hull = shapely.concave_hull(shapely.MultiPoint(xyz[:, :2]), ratio=0.15)
    return float(hull.area / normal[2])


def whole_chain(truth: TrueRoof, points: RoofPoints) -> float:
    """Relative error of total area when edges and adjustment follow."""
    try:
        segmentation = planes.run(points)
        topology = edges.run(points, segmentation)
        frame = Frame(origin=np.zeros(3), ground_z_m=points.ground_z_m)
        return adjust.run(points, segmentation, topology, frame).area.value / truth.area_m2 - 1
    except SlopewrightError:
        return float("nan")


def grid(name: str, finder: str) -> list[Settings]:
    """Settings to choose from."""
    noise = 0.03 if name.startswith("drone") else (0.04 if name == "lidar 25" else 0.06)
    if finder == "CGAL region growing":
        return list(itertools.product((2 * noise, 3 * noise, 4 * noise), (15, 25, 35), (0.8, 1.5), (10, 16)))
    if finder == "CGAL efficient RANSAC":
        reach = (0.5, 1.0) if name.startswith("drone") else (1.0, 2.0)
        return list(itertools.product((2 * noise, 3 * noise), (15, 25, 35), (0.8, 1.5), reach))
    if finder == "Open3D segment_plane":
        return list(itertools.product((1.5 * noise, 2 * noise, 3 * noise), (0.8, 1.5, 3.0)))
    if finder == "Open3D planar patches":
        return list(itertools.product((40, 60), (60, 75), (0.5, 0.75), (0.5, 1.5)))
    return [()]


def tuned(finder: Finder, name: str, settings: Iterable[Settings]) -> Settings:
    """The settings with most planes found and right on the tuning roofs."""
    choices = list(settings)
    if len(choices) == 1:
        return choices[0]
    scenes = [capture(name, kind, seed) for kind in KINDS for seed in TUNING_SEEDS]

    def worth(choice: Settings) -> float:
        scores = [score(t, p, true, *finder(p, choice), LEAST_M2[name]) for t, p, true in scenes]
        found, correct = shares(scores)
        return found + correct + 0.2 * float(np.mean([s.one_to_one for s in scores]))

    return max(choices, key=worth)


def shares(scores: Iterable[Score]) -> tuple[float, float]:
    """Share of the true faces found, and of the planes that are right."""
    rows = list(scores)
    found, true = sum(s.found for s in rows), sum(s.true for s in rows)
    correct, all_planes = sum(s.correct for s in rows), sum(s.planes for s in rows)
    return found / max(true, 1), correct / max(all_planes, 1)


def finders(program: Path | None) -> Mapping[str, Finder]:
    """Those that this machine has."""
    table: dict[str, Finder] = {"slopewright": ours}
    if program is not None:
        table["CGAL region growing"] = cgal(program, "grow")
        table["CGAL efficient RANSAC"] = cgal(program, "ransac")
    try:
        import open3d  # noqa: F401
    except ImportError:
        return table
    return table | {"Open3D segment_plane": segment_plane, "Open3D planar patches": planar_patches}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cgal", type=Path, default=None, help="the compiled cgal_planes")
    parser.add_argument("--roofs", type=int, default=4, help="of each kind")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    arguments = parser.parse_args()
    print(
        "| cloud | finder | settings | found % | right % | one-to-one | hull area %, mean"
        " | chain area %, mean | s per 10⁶ points |"
    )
    print("|---|---|---|---:|---:|---:|---:|---:|---:|")
    seeds = range(arguments.first, arguments.first + arguments.roofs)
    for name in CLASSES:
        scenes = [capture(name, kind, seed) for kind in KINDS for seed in seeds]
        for finder_name, finder in finders(arguments.cgal).items():
            settings = tuned(finder, name, grid(name, finder_name))
            scores = [score(t, p, true, *finder(p, settings), LEAST_M2[name]) for t, p, true in scenes]
            found, correct = shares(scores)
            chain = [whole_chain(t, p) for t, p, _ in scenes] if finder_name == "slopewright" else [np.nan]
            rate = 1e6 * sum(s.seconds for s in scores) / sum(s.points for s in scores)
            shown = " ".join(f"{v:g}" for v in settings) or "none"
            whole = "" if np.isnan(chain).all() else f"{100 * np.nanmean(chain):+.2f}"
            print(
                f"| {name} | {finder_name} | {shown} | {100 * found:.1f} | {100 * correct:.1f}"
                f" | {np.mean([s.one_to_one for s in scores]):.3f}"
                f" | {100 * np.mean([s.area_error for s in scores]):+.2f}"
                f" | {whole} | {rate:.1f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
