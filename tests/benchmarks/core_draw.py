"""Pictures of a roof of the core's study: the truth, the measured roof and the points in plan."""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from core_scene import as_read, measure, scene
from core_score import Row, plan_of
from matplotlib.axes import Axes

from simulate import TrueRoof
from slopewright.errors import SlopewrightError
from slopewright.roof import Roof
from slopewright.scene import Array, EdgeKind

LINES: dict[EdgeKind, tuple[str, str]] = {  # line style and letter: legible without colour
    EdgeKind.EAVE: ("-", "E"),
    EdgeKind.RAKE: ("--", "K"),
    EdgeKind.RIDGE: ("-", "R"),
    EdgeKind.HIP: ("-.", "H"),
    EdgeKind.VALLEY: (":", "V"),
    EdgeKind.SIDEWALL: ("--", "S"),
    EdgeKind.HEADWALL: ("--", "W"),
    EdgeKind.PITCH_BREAK: (":", "B"),
}
MAX_DOTS = 30_000
OFF_ROOF = "0.8"


def draw(row: Row, path: Path) -> None:
    """Measure the roof of a row again and write truth, points and result side by side."""
    truth, sim, _ = scene(row.sensor, row.kind, row.seed, strange=row.strange)
    step = max(len(sim.xyz) // MAX_DOTS, 1)
    figure, axes = plt.subplots(1, 3, figsize=(21, 8))
    _true(axes[0], truth)
    x0, y0, x1, y1 = truth.footprint.buffer(1.5).bounds
    colours = plt.get_cmap("tab20")(np.arange(len(truth.planes)) % 20)
    label = sim.label[::step]
    shade = [colours[k] if k >= 0 else OFF_ROOF for k in label]
    axes[1].scatter(*sim.xyz[::step, :2].T, s=2, c=shade)
    axes[1].set_title("points, by true face")
    try:
        _measured(axes[2], measure(truth, as_read(sim, row.seed)), truth)
    except SlopewrightError as error:
        axes[2].set_title(str(error)[:100], fontsize=7)
    for ax in axes:
        ax.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal")
    figure.suptitle(
        f"{row.sensor} {row.kind} {row.seed}: {row.faults or row.failure or 'faces right'};"
        f" area {100 * row.area_error:+.2f} % ± {100 * row.area_half:.2f} %"
    )
    figure.savefig(path, dpi=60, bbox_inches="tight")
    plt.close(figure)


def _true(ax: Axes, truth: TrueRoof) -> None:
    ax.set_title("truth")
    for k, plane in enumerate(truth.planes):
        spot = plane.plan.representative_point()
        pitch = 12 * np.tan(plane.pitch_rad)
        ax.text(spot.x, spot.y, f"{k}\n{plane.area_m2:.1f} m²\n{pitch:.1f}/12", ha="center", fontsize=7)
    for edge in truth.edges:
        _line(ax, edge.start, edge.end, edge.kind)


def _measured(ax: Axes, roof: Roof, truth: TrueRoof) -> None:
    ax.set_title("measured, truth in grey")
    for true_edge in truth.edges:
        ax.plot(*np.stack([true_edge.start, true_edge.end])[:, :2].T, color="0.7", lw=4)
    for plane in roof.planes:
        spot = plan_of(roof, plane).representative_point()
        text = f"{plane.id}\n{plane.area.value:.1f} m²\n{plane.rise_in_12.value:.1f}/12"
        ax.text(spot.x, spot.y, text, ha="center", fontsize=7)
    for edge in roof.edges:
        start, end = roof.vertices[[edge.start, edge.end]] + roof.frame.origin
        _line(ax, start, end, edge.kind)


def _line(ax: Axes, start: Array, end: Array, kind: EdgeKind) -> None:
    style, letter = LINES.get(kind, ("-", "?"))
    ax.plot([start[0], end[0]], [start[1], end[1]], style, color="k", lw=1)
    ax.text((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, letter, fontsize=6, color="k")
