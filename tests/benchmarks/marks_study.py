"""How often 95 % bounds hold for roofs from marked corners and for single photos, over drawn marks.

    python tests/benchmarks/marks_study.py [DRAWS] > tests/benchmarks/marks_study.md

Each draw is a new house (hip, gable or pyramid, its size, pitch, overhang), new places to stand, a random
number of photos, new noise of marks (1.5 px), of the stick's length (its u), of EXIF's focal length (3 %), of
corners against the ideal (1 cm) and of edges against the level (0.15°).  Exact geometry is the oracle.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from photos.marked_house import STICK, TRUE, House, house, looking, marked, photos_of, walk_round
from photos.marked_wall import CAMERA, DOOR_M, marked_wall, photo
from photos.marked_wall import TRUE as WALL_TRUE
from slopewright import adjust
from slopewright.errors import SlopewrightError
from slopewright.photos import corners, single
from slopewright.photos import marked as by_marks
from slopewright.roof import Frame

Found = dict[str, list[tuple[float, float, float]]]  # error, half width and true value by quantity

WAYS = {
    "walk round, 8 to 16 photos, walls marked too": ("walk", ()),
    "walk round, 24 to 44 photos, walls marked too": ("long walk", ()),
    "four photos off the corners, walls marked too": ("four", ()),
    "six from the air, roof corners and stick only": ("air", ("eave", "ridge", "peak", "stick")),
}


def drawn_house(turn_rad: float, rng: np.random.Generator) -> House:
    """A house as it is reported."""
    kind = str(rng.choice(["hip", "gable", "pyramid"]))
    width = rng.uniform(6.0, 10.0)
    return house(
        kind,
        length=width if kind == "pyramid" else width * rng.uniform(1.25, 1.8),
        width=width,
        overhang=rng.uniform(0.2, 0.7),
        eave=rng.uniform(2.4, 3.4),
        pitch_deg=rng.uniform(15, 42),
        turn_rad=turn_rad,
    )


def slack(home: House, rng: np.random.Generator) -> House:
    """What is built, against the ideal that is reported."""
    built = {
        name: xyz + (0.0 if name.startswith("stick") else 0.01 / np.sqrt(3)) * rng.normal(size=3)
        for name, xyz in home.corners.items()
    }
    return replace(home, corners=built)


def shots_of(way: str, turn_rad: float, rng: np.random.Generator):
    """Where photos are taken from."""
    if way == "four":
        corner_rad = turn_rad + np.pi / 4 + rng.uniform(-0.3, 0.3)
        return walk_round(4, rng, first_rad=corner_rad, away_m=16.0)
    if way == "air":
        found = walk_round(6, rng, away_m=13.0, height_m=14.0, first_rad=rng.uniform(0, 6.28))
        return [replace(shot, rotation=looking(shot.centre, [0, 0, 2.5], rng)) for shot in found]
    n = int(rng.integers(24, 45) if way == "long walk" else rng.integers(8, 17))
    return walk_round(n, rng, first_rad=rng.uniform(0, 6.28), away_m=rng.uniform(13, 18))


def roof_draw(
    way: str, only: tuple[str, ...], rng: np.random.Generator
) -> dict[str, list[tuple[float, float, float]]]:
    """(error, half width, true) of each kind of quantity."""
    turn_rad = rng.uniform(0, 2 * np.pi)
    home = drawn_house(turn_rad, rng)
    built = slack(home, rng)
    shots = shots_of(way, turn_rad, rng)
    stick = replace(STICK, length_m=STICK.length_m + STICK.u_m * rng.normal())
    marks = marked(built, shots, rng, only=only)
    exif = TRUE.focal_px * np.exp(0.02 * rng.normal())
    block = by_marks.run(photos_of(shots, exif), marks, (stick,), rng=np.random.default_rng(1))
    made = corners.run(block, aside=frozenset({"stick a", "stick b"}))
    frame = Frame(origin=np.zeros(3), ground_z_m=made.points.ground_z_m)
    config = adjust.AdjustConfig(scale_sd=made.scale_u, tilt_sd_rad=made.tilt_u_rad)
    roof = adjust.run(made.points, made.segmentation, made.topology, frame, config)
    if len(roof.planes) != len(home.faces):
        raise SlopewrightError(f"{len(roof.planes)} faces, not {len(home.faces)}")
    pitch = float(home.pitches_deg()[0])
    found: Found = {
        "area": [(roof.area.value - home.area_m2, roof.area.half_width, home.area_m2)],
        "pitch": [(p.pitch_deg.value - pitch, p.pitch_deg.half_width, pitch) for p in roof.planes],
        "length": [],
    }
    true = {
        frozenset((a, b)): float(np.linalg.norm(home.corners[a] - home.corners[b]))
        for face in home.faces
        for a, b in zip(face, face[1:] + face[:1], strict=True)
    }
    for edge in roof.edges:
        near = min(true.values(), key=lambda length: abs(length - edge.length.value))
        found["length"].append((edge.length.value - near, edge.length.half_width, near))
    return found


def photo_draw(way: str, rng: np.random.Generator) -> Found:
    """The same for one photo of the wall."""
    angle = rng.uniform(-1.0, 1.0)
    away = rng.uniform(8, 14)
    stand = (3.6 + away * np.sin(angle), -away * np.cos(angle), 1.6)
    if way == "length":
        leave_out, given = ("rectangle",), single.Given(length_m=DOOR_M + 0.003 * rng.normal(), u_m=0.003)
    else:
        leave_out = ("level", "upright", "known")
        sides = (0.92 + 0.003 * rng.normal(), DOOR_M + 0.003 * rng.normal())
        given = single.Given(rectangle_m=sides, u_m=0.003)
    marks = marked_wall(stand, rng, leave_out=leave_out, built_sd_rad=np.radians(0.25))
    found = single.run(photo(CAMERA.focal_px * np.exp(0.03 * rng.normal())), marks, given)
    rake, eaves = found.lines
    (gable,) = found.outlines

    def row(m, true):
        return [(m.value - true, m.half_width, true)]

    return {
        "area": row(gable.area_m2, WALL_TRUE["gable"][0]),
        "pitch": row(rake.pitch_deg, WALL_TRUE["rake"][1]),
        "length": row(rake.length_m, WALL_TRUE["rake"][0]) + row(eaves.length_m, WALL_TRUE["eaves"][0]),
    }


def table(title: str, draw, n: int, reasons: list[str]) -> None:
    """One row for each kind of quantity."""
    rng = np.random.default_rng(20)
    first_title = title
    rows: Found = {}
    refused: dict[str, int] = {}
    start = time.process_time()
    for _ in range(n):
        try:
            for name, values in draw(rng).items():
                rows.setdefault(name, []).extend(values)
        except SlopewrightError as error:
            said = str(error).split(": ", 1)[-1][:60]
            refused[said] = refused.get(said, 0) + 1
    seconds = (time.process_time() - start) / n
    for name, values in rows.items():
        error, half, true = np.array(values).T
        relative = name != "pitch"
        factor = 100 / true if relative else np.ones(len(true))
        unit = "%" if relative else "°"
        held = float((np.abs(error) <= half).mean())
        relative_error = np.abs(error * factor)
        cells = [
            title,
            name,
            f"{len(values)}",
            f"{100 * held:.1f} %",
            f"{np.sqrt(np.mean(relative_error**2)):.2f} {unit}",
            f"{np.quantile(relative_error, 0.95):.2f} {unit}",
            f"{np.median(half * factor):.2f} {unit}",
            f"{sum(refused.values())} of {n}" if title else "",
            f"{seconds:.1f}" if title else "",
        ]
        print(f"| {' | '.join(cells)} |")
        title = ""
    reasons.extend(f"{count} of {first_title}: {said}" for said, count in refused.items())


def main(n: int) -> None:
    """Print the table."""
    print("# Marks: how often 95 % bounds hold\n")
    print(f"{n} draws a row; `marks_study.py` says of what.  CPU seconds a draw, one thread.\n")
    heads = ("way", "quantity", "numbers", "held", "rms error", "95 % of errors below", "median half width")
    print(f"| {' | '.join((*heads, 'refused', 's'))} |")
    print("|---|---|---|---|---|---|---|---|---|")
    reasons: list[str] = []
    for title, (way, only) in WAYS.items():
        table(title, lambda rng, way=way, only=only: roof_draw(way, only, rng), n, reasons)
    table("one photo, known length and lines", lambda rng: photo_draw("length", rng), 3 * n, reasons)
    table("one photo, known rectangle (a door)", lambda rng: photo_draw("rectangle", rng), 3 * n, reasons)
    print("\nRefused:\n" if reasons else "")
    print("\n".join(f"- {reason} ..." for reason in reasons))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
