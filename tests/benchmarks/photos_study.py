"""Photos to roof on rendered sets with exact truth: scale by drawn marks, level, pitch, edges and area.

    .venv/bin/python tests/benchmarks/photos_study.py SETS NAME ... [--draws N] [--whole N] [--models FOLDER]

SETS is a folder with one folder a set: `images/` and `truth.json` (poses, roof, pixels of the staff's ends).
Photos are mapped once a set (kept in --models, if given); marks are the true pixels with 1 px of noise, in as
many photos as the table says.  Truth: the renderer's own geometry, none of ours.
"""

from __future__ import annotations

import argparse
import json
import pickle
import time
from pathlib import Path
from typing import Any

import numpy as np

from slopewright import adjust, edges, photos, planes
from slopewright.errors import InputError
from slopewright.finding import find_roof
from slopewright.intent import Options
from slopewright.photos import stage
from slopewright.photos.doubt import camera_doubt
from slopewright.photos.gps import similarity
from slopewright.photos.mapping import map_photos
from slopewright.photos.placed import Model
from slopewright.photos.scale import KnownLength, scale_of
from slopewright.photos.spots import place_marks
from slopewright.photos.triage import Triage, triage
from slopewright.state import Frame

STAFF = KnownLength(title="staff", length_m=2.0, u_m=0.001, marks=("staff_a", "staff_b"))
NOISE_PX = 1.0
N_MARKED = (2, 4, 6, 14)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", type=Path)
    parser.add_argument("names", nargs="+")
    parser.add_argument("--draws", type=int, default=120)
    parser.add_argument("--whole", type=int, default=0, help="draws for which the whole chain is run")
    parser.add_argument("--models", type=Path)
    asked = parser.parse_args()
    for name in asked.names:
        truth = json.loads((asked.sets / name / "truth.json").read_text())
        sorted_out = triage(tuple(sorted((asked.sets / name / "images").iterdir())))
        models, seconds = mapped(sorted_out, asked.models and asked.models / f"{name}.pkl")
        print(f"\n## {name}\n\n{len(models[0].names)} of {len(sorted_out.usable)} photos placed{seconds}.\n")
        scale_table(truth, models[0], asked.draws)
        if asked.whole:
            chain_table(truth, sorted_out, models, asked.whole)


def mapped(sorted_out: Triage, kept: Path | None) -> tuple[tuple[Model, ...], str]:
    """The models of a set, from the file where they are kept or made now."""
    if kept is not None and kept.exists():
        return pickle.loads(kept.read_bytes()), ""
    start = time.perf_counter()
    models = map_photos(sorted_out.usable)
    if kept is not None:
        kept.write_bytes(pickle.dumps(models))
    return models, f" in {time.perf_counter() - start:.0f} s"


def drawn_marks(truth: dict[str, Any], n: int, rng: np.random.Generator) -> photos.Marks:
    """The staff's ends in n photos that show them; where none shows both, as if the roof were not in the"
    " way."""
    ends = {photo["name"]: photo["refs"]["staff"] for photo in truth["photos"]}
    shown = [name for name, pair in ends.items() if all(end["visible"] for end in pair)]
    shown = shown or [name for name, pair in ends.items() if all(end["in_frame"] for end in pair)]
    chosen = sorted(rng.choice(shown, min(n, len(shown)), replace=False))
    return photos.Marks(
        file="marks.json",
        marks=tuple(
            photos.Mark(
                name=name,
                u_px=NOISE_PX,
                photos={
                    str(photo): tuple(np.array(ends[photo][k]["px"]) + rng.normal(0, NOISE_PX, 2))
                    for photo in chosen
                },
            )
            for k, name in enumerate(("staff_a", "staff_b"))
        ),
    )


def true_scale(truth: dict[str, Any], names: tuple[str, ...], centres: np.ndarray) -> float:
    """Metres in a unit of the frame in which camera centres are given."""
    true = {photo["name"]: photo["C"] for photo in truth["photos"]}
    return similarity(centres, np.array([true[name] for name in names]), np.ones(len(names)))[0]


def scale_table(truth: dict[str, Any], model: Model, n_draws: int) -> None:
    """How far the scale is off, and how often its 95 % bounds hold."""
    doubt, metres = camera_doubt(model), true_scale(truth, model.names, model.centres)
    print("| staff marked in | refused | error, rms | u, median | 95 % bounds hold |")
    print("|---|---|---|---|---|")
    for n in [n for n in N_MARKED if n <= max(len(model.names), 2)]:
        errors, doubts, refused = [], [], 0
        for seed in range(n_draws):
            marks = drawn_marks(truth, n, np.random.default_rng(seed))
            try:
                found = scale_of(place_marks(model, doubt, marks.marks), [STAFF], {})
            except InputError:
                refused += 1
                continue
            errors.append(found.metres / metres - 1)
            doubts.append(found.u)
        error, u = np.array(errors), np.array(doubts)
        held = float(np.mean(np.abs(error) < 1.96 * u))
        rms = float(np.sqrt((error**2).mean()))
        print(
            f"| {n} photos | {refused} | {rms:.2%} | {np.median(u):.2%} | {held:.1%} of {len(error)} |",
            flush=True,
        )


def chain_table(truth: dict[str, Any], sorted_out: Triage, models: tuple[Model, ...], n: int) -> None:
    """The whole way, with the staff marked in six photos."""
    print(
        "\n| draw | area | bound | at exact scale | pitch, worst face | bound | eave, rake, worst | CPU s |"
    )
    print("|---|---|---|---|---|---|---|---|")
    stage.map_photos = lambda usable: models  # type: ignore[assignment]  # mapped once
    for seed in range(n):
        start = time.process_time()
        rng = np.random.default_rng(seed)
        block = stage.place(sorted_out, drawn_marks(truth, 6, rng), [STAFF], rng=rng)
        cloud = photos.dense_cloud(block)
        points = find_roof(cloud, Options()).points
        segmentation = planes.run(points)
        block, cloud = photos.levelled_by_house(block, cloud, segmentation, edges.run(points, segmentation))
        points = find_roof(cloud, Options()).points
        segmentation = planes.run(points)
        topology = photos.place_edges(block, segmentation, edges.run(points, segmentation))
        frame = Frame(origin=cloud.origin, crs=None, ground_z_m=points.ground_z_m)
        doubt = adjust.AdjustConfig(scale_sd=block.scale_u, tilt_sd_rad=block.tilt_u_rad)
        roof = adjust.run(points, segmentation, topology, frame, doubt)
        names = tuple(photo.name for photo in block.photos)
        scale = true_scale(truth, names, np.array([photo.centre for photo in block.photos]))
        true_area = truth["roof"]["total_area_net"]
        pitches = [(plane.pitch_deg, _like(plane.azimuth_deg.value, truth)) for plane in roof.planes]
        worst = max(pitches, key=lambda pair: abs(pair[0].value - pair[1]))
        lengths = [abs(edge.length.value * scale - _nearest(edge, scale, truth)) for edge in roof.edges]
        print(
            f"| {seed} | {roof.area.value / true_area - 1:+.2%} | ±"
            f" {roof.area.half_width / roof.area.value:.2%}"
            f" | {roof.area.value * scale**2 / true_area - 1:+.2%} | {worst[0].value - worst[1]:+.3f}°"
            f" | ± {worst[0].half_width:.2f}° | {100 * max(lengths):.1f} cm"
            f" | {time.process_time() - start:.0f} |",
            flush=True,
        )


def _like(azimuth_deg: float, truth: dict[str, Any]) -> float:
    """The true pitch of the plane that falls most nearly the same way."""
    return float(
        min(
            truth["roof"]["planes"],
            key=lambda plane: abs((plane["azimuth_deg"] - azimuth_deg + 180) % 360 - 180),
        )["pitch_deg"]
    )


def _nearest(edge: Any, scale: float, truth: dict[str, Any]) -> float:
    same = [true["length"] for true in truth["roof"]["edges"] if true["type"] == edge.kind]
    return min(same or [np.nan], key=lambda length: abs(length - edge.length.value * scale))


if __name__ == "__main__":
    main()
