"""Dense clouds, edges and areas from photos whose cameras are known, against exact houses.

    python tests/benchmarks/dense_study.py [--sets FOLDER] [--out TABLE.md]

FOLDER holds photo sets with a truth.json each (cameras, roof outlines); without it only the house that
`tests/photos/rendered_houses.py` casts is measured.  Cameras are exact, or moved by 4 mm, turned by 0.2 mrad,
and with 0.4 px of principal point: each for itself, which is harsher than what a bundle adjustment leaves.
Scale is taken as exact.  Cover, bias and rms are of the cloud within 10 cm of each face; the rest is after
edges, photo edges and adjustment.  Seconds are of one processor.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from scipy.spatial.transform import Rotation

sys.path.insert(0, str(Path(__file__).parents[1] / "photos"))

import rendered_houses as house

from slopewright import adjust, edges, isolate, planes
from slopewright.photos import boundaries, dense, objects, pairs
from slopewright.photos.model import Block, Camera, PosedPhoto
from slopewright.roof import Frame, Roof
from slopewright.scene import Array, EdgeKind

CELL_M = 0.1  # of which cover is counted
LARGE_M2 = 5.0  # faces whose pitch is judged
HEAD = (
    "| set | cameras | photos | pixel cm | cover % | bias mm | rms mm | worst pitch ° | worst edge cm"
    " | edges rms cm | largest edge error / u | area % | u % | dense s | edges s | GB | objects |"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """Faces by name: rings (k, 3) counter-clockwise from above."""

    rings: dict[str, Array]

    def free_lines(self) -> list[tuple[Array, float, Array]]:
        """Outward normal in plan, offset, and the ends of sides that no other face shares."""
        sides = [
            (ring[k], ring[(k + 1) % len(ring)]) for ring in self.rings.values() for k in range(len(ring))
        ]
        found = []
        for start, end in sides:
            if any(np.allclose(start, b, atol=1e-3) and np.allclose(end, a, atol=1e-3) for a, b in sides):
                continue
            way = (end - start)[:2] / np.linalg.norm((end - start)[:2])
            normal = np.array([way[1], -way[0]])
            found.append((normal, float(start[:2] @ normal), np.stack([start, end])))
        return found

    def area(self) -> float:
        """Of all faces [m²]."""
        return sum(_area(ring) for ring in self.rings.values())


def _area(ring: Array) -> float:
    return 0.5 * float(
        np.linalg.norm(np.cross(ring - ring[0], np.roll(ring, -1, axis=0) - ring[0]).sum(axis=0))
    )


def _normal(ring: Array) -> Array:
    normal = np.cross(ring - ring[0], np.roll(ring, -1, axis=0) - ring[0]).sum(axis=0)
    return np.asarray(normal / np.linalg.norm(normal))


def from_set(folder: Path, rng: np.random.Generator) -> tuple[Truth, Block]:
    """A set with a truth.json; ties are drawn on roof and ground where photos have them in their frames."""
    told = json.loads((folder / "truth.json").read_text())
    lens, (width, height) = told["intrinsics"], told["image_size"]
    camera = Camera(
        width_px=width,
        height_px=height,
        focal_px=lens["f"],
        centre_px=(lens["cx"], lens["cy"]),
        k1=lens["k1"],
        k2=lens["k2"],
    )
    photos = tuple(
        PosedPhoto(
            name=p["name"],
            path=folder / "images" / p["name"],
            camera=camera,
            rotation=np.array(p["R"]),
            translation=np.array(p["t"]),
        )
        for p in told["photos"]
    )
    rings = {plane["id"]: np.array(plane["outline"]) for plane in told["roof"]["planes"]}
    ties = [rng.dirichlet(np.ones(len(ring)), 150) @ ring for ring in rings.values()]
    lawn = np.column_stack([rng.uniform(-18, 18, (600, 2)), np.zeros(600)])
    points = np.vstack([*ties, lawn])
    seen_point, seen_photo = [], []
    for i, photo in enumerate(photos):
        rows = np.flatnonzero(pairs.in_frame(photo, points) & (rng.random(len(points)) < 0.6))
        seen_point.append(rows)
        seen_photo.append(np.full(len(rows), i))
    block = Block(
        photos=photos,
        points=points,
        seen_point=np.concatenate(seen_point).astype(np.int32),
        seen_photo=np.concatenate(seen_photo).astype(np.int32),
        origin=np.zeros(3),
        crs=None,
        scale_u=0.0,
        tilt_u_rad=0.0,
        scale_from="exact",
        level_from="exact",
    )
    return Truth(rings=rings), block


def cast_house(folder: Path, width_px: int, n_nadir: tuple[int, int], n_orbit: int) -> tuple[Truth, Block]:
    """The L-shaped house in photos of this width."""
    camera = Camera(
        width_px=width_px,
        height_px=width_px * 3 // 4,
        focal_px=0.78 * width_px,
        centre_px=(0.5 * width_px + 3.0, 0.37 * width_px),
        k1=-0.05,
        k2=0.02,
    )
    block = house.shoot(folder, house.drone_poses(n_nadir, n_orbit), camera)
    rings = {n: np.column_stack([ring, house.heights(n, ring)]) for n, ring in house.FACES.items()}
    return Truth(rings=rings), block


def shaken(block: Block, rng: np.random.Generator) -> Block:
    """The block with cameras that err."""
    one = block.photos[0].camera
    x, y = np.array(one.centre_px) + rng.normal(0, 0.4, 2)
    camera = replace(one, focal_px=one.focal_px * (1 + rng.normal(0, 2e-4)), centre_px=(float(x), float(y)))
    photos = []
    for photo in block.photos:
        rotation = Rotation.from_rotvec(rng.normal(0, 2e-4, 3)).as_matrix() @ photo.rotation
        centre = photo.centre + rng.normal(0, 0.004, 3)
        photos.append(replace(photo, camera=camera, rotation=rotation, translation=-rotation @ centre))
    return replace(block, photos=tuple(photos))


def row(name: str, cameras: str, truth: Truth, block: Block) -> str:
    """One line of the table."""
    start = time.process_time()
    plan = pairs.make_plan(block)
    cloud = dense.run(block)
    dense_s = time.process_time() - start
    cover, bias_m, rms_m = _of_cloud(truth, np.asarray(cloud.xyz))
    scene = isolate.run(cloud)
    points = scene.roofs[scene.chosen]
    segmentation = planes.run(points)
    topology = edges.run(points, segmentation)
    start = time.process_time()
    topology = boundaries.run(block, segmentation, topology)
    edges_s = time.process_time() - start
    frame = Frame(origin=np.zeros(3), ground_z_m=points.ground_z_m)
    roof = adjust.run(points, segmentation, topology, frame, adjust.AdjustConfig(scale_sd=0.0))
    errors = _edge_errors(truth, roof)
    things = ", ".join(each.thing.kind for each in objects.run(points, roof)) or "none"
    whole, wanted = roof.area, truth.area()
    worst = max((abs(e) for e, _ in errors), default=np.nan)
    ratio = max((abs(e) / u for e, u in errors), default=np.nan)
    rms_cm = 100 * float(np.sqrt(np.mean([e * e for e, _ in errors])))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    cells = [
        name,
        cameras,
        f"{len(block.photos)}",
        f"{100 * plan.gsd_m:.1f}",
        f"{100 * cover:.0f}",
        f"{1000 * bias_m:.1f}",
        f"{1000 * rms_m:.1f}",
        f"{_worst_pitch(truth, roof):.3f}",
        f"{100 * worst:.1f}",
        f"{rms_cm:.1f}",
        f"{ratio:.1f}",
        f"{100 * (whole.value / wanted - 1):+.2f}",
        f"{100 * whole.u / wanted:.2f}",
        f"{dense_s:.0f}",
        f"{edges_s:.1f}",
        f"{peak:.2f}",
        things,
    ]
    return f"| {' | '.join(cells)} |"


def _of_cloud(truth: Truth, xyz: Array) -> tuple[float, float, float]:
    """Cover of the faces, and bias and rms of what lies within 10 cm of them."""
    held = total = 0.0
    residuals = []
    for ring in truth.rings.values():
        normal = _normal(ring)
        part = shapely.Polygon(ring[:, :2]).buffer(-CELL_M)
        away = xyz @ normal - float(ring[0] @ normal)
        own = (np.abs(away) < 0.1) & shapely.contains_xy(part, xyz[:, 0], xyz[:, 1])
        residuals.append(away[own])
        x, y = (
            np.arange(np.floor(low / CELL_M), np.ceil(high / CELL_M))
            for low, high in zip(*np.split(np.array(part.bounds), 2), strict=True)
        )
        xx, yy = np.meshgrid(x, y)
        whole = shapely.contains_xy(part, (xx + 0.5) * CELL_M, (yy + 0.5) * CELL_M)
        inside = set(zip(xx[whole].astype(int).tolist(), yy[whole].astype(int).tolist(), strict=True))
        cells = set(map(tuple, np.floor(xyz[own, :2] / CELL_M).astype(int).tolist()))
        held += len(cells & inside)
        total += len(inside)
    every = np.concatenate(residuals)
    return held / total, float(every.mean()), float(every.std())


def _edge_errors(truth: Truth, roof: Roof) -> list[tuple[float, float]]:
    """How far outside of their places eaves and rakes lie in plan, and what is said of that, both [m]."""
    assert roof.state is not None
    doubt = roof.state.doubt
    found = []
    topology = roof.state.topology
    for boundary in {e.curve.boundary for e in topology.edges if e.kind in (EdgeKind.EAVE, EdgeKind.RAKE)}:
        if boundary is None or topology.boundaries[boundary].observed == 0:
            continue
        own = topology.boundaries[boundary]
        out = np.array([np.cos(own.angle_rad), np.sin(own.angle_rad)])
        near = [
            float(own.point @ normal) - offset
            for normal, offset, _ in truth.free_lines()
            if normal @ out > 0.99 and abs(float(own.point @ normal) - offset) < 0.5
        ]
        if near:
            u = float(np.sqrt(own.covariance[0, 0] + doubt.bleed_m**2))
            found.append((min(near, key=abs), u))
    return found


def _worst_pitch(truth: Truth, roof: Roof) -> float:
    """Largest error of a pitch [degrees]; a face that nothing was found for counts as wholly wrong."""
    worst = 0.0
    for ring in truth.rings.values():
        if _area(ring) < LARGE_M2:
            continue
        normal = _normal(ring)
        best = max(roof.planes, key=lambda plane: float(plane.normal @ normal))
        if float(best.normal @ normal) < np.cos(np.deg2rad(5.0)):
            return float("nan")
        pitch = np.rad2deg(np.arctan2(np.hypot(*normal[:2]), normal[2]))
        worst = max(worst, abs(best.pitch_deg.value - float(pitch)))
    return worst


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=Path)
    parser.add_argument("--only", nargs="*")
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    lines = [HEAD, "|" + "---|" * (HEAD.count("|") - 1)]
    print("\n".join(lines), flush=True)
    with tempfile.TemporaryDirectory() as folder:
        cases: list[tuple[str, object]] = []
        for width, nadir, orbit in ((1000, (3, 3), 7), (1400, (2, 2), 0), (800, (4, 3), 4)):
            name = f"L {width} px, {nadir[0]} x {nadir[1]} down, {orbit} round"
            cases.append((name, (width, nadir, orbit)))
        if given.sets:
            cases += [(path.parent.name, path.parent) for path in sorted(given.sets.glob("*/truth.json"))]
        for name, case in cases:
            if given.only and not any(word in name for word in given.only):
                continue
            if isinstance(case, tuple):
                (place := Path(folder) / str(case[0])).mkdir()
                truth, block = cast_house(place, *case)
            else:
                truth, block = from_set(Path(str(case)), np.random.default_rng(1))
            for cameras in ("exact", "shaken"):
                used = block if cameras == "exact" else shaken(block, np.random.default_rng(2))
                try:
                    lines.append(row(name, cameras, truth, used))
                except Exception as error:  # a refusal is a result
                    lines.append(
                        f"| {name} | {cameras} | {len(block.photos)} | {type(error).__name__}: {error} |"
                    )
                print(lines[-1], flush=True)
    if given.out:
        given.out.write_text(f"# Dense study\n\n```\n{__doc__}```\n\n" + "\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
