"""The figures of the core's study: accuracy, and whether bounds hold, by capture and by shape."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from core_score import NORMAL_POINT, SHARES, Row

LEAST_M2 = {"lidar-4": 5.0, "lidar-8": 5.0}  # smallest face that counts; 2 m² elsewhere
BINS_M2 = ((35.0, 75.0), (14.0, 28.0), (4.0, 9.0))  # faces of about 50, 20 and 6 m²
SHORT_M = 1.0  # kinds with less length in all are left out of relative errors of length


def least_m2(sensor: str) -> float:
    """The smallest face that counts in a class [m²]."""
    return LEAST_M2.get(sensor, 2.0)


def accuracy(rows: Iterable[Row], by: str) -> str:
    """A markdown table of errors with a line for each value of an attribute."""
    head = (
        by,
        "roofs",
        "failed / not certified",
        "planes found / correct",
        "roofs right % (at any size)",
        "edge F1",
        "area bias / median / 95th %",
        "± area %",
        "length median / 95th % (roofs right)",
        "corner median cm",
        "pitch 95th ° at 50 / 20 / 6 m²",
        "seconds",
    )
    return _table(head, rows, by, _accuracy_cells)


def calibration(rows: Iterable[Row], by: str) -> str:
    """A markdown table of the shares of bounds that hold, at 50 / 80 / 95 %, with a line for each value."""
    head = (
        by,
        "roofs",
        "area",
        "area of faces: by roof",
        "pitch: by roof",
        "pitch: faces",
        "pitch, faces under 9 m²",
        "lengths: by roof",
        "lengths: kinds",
        "lengths: kinds on both sides",
    )
    return _table(head, rows, by, _calibration_cells)


def failures(rows: Iterable[Row]) -> str:
    """Failures by message, with one seed each."""
    counts: Counter[tuple[str, str]] = Counter()
    first: dict[tuple[str, str], Row] = {}
    for row in rows:
        if row.failure:
            key = (row.sensor, row.failure)
            counts[key] += 1
            first.setdefault(key, row)
    lines = [
        f"- {sensor}: {n} x {text} ({first[sensor, text].kind} {first[sensor, text].seed})"
        for (sensor, text), n in counts.most_common()
    ]
    return "\n".join(lines) or "- none"


def worst(rows: Iterable[Row], n: int = 10) -> list[Row]:
    """The worst roofs: nothing measured, wrong faces, then area and edges."""

    def badness(row: Row) -> float:
        if row.failure:
            return 100.0
        faults = row.faults.count(",") + row.faults.count(";") + bool(row.faults)
        return 10 * faults + 100 * abs(row.area_error) + 10 * (1 - f1([row]))

    return sorted(rows, key=badness, reverse=True)[:n]


def worst_lines(rows: Sequence[Row]) -> str:
    """The worst of each class in words."""
    lines = []
    for sensor in dict.fromkeys(row.sensor for row in rows):
        lines.append(f"\n{sensor}:\n")
        for row in worst(r for r in rows if r.sensor == sensor):
            what = row.failure or (
                f"{row.faults or 'faces right'}; area {100 * row.area_error:+.2f} %, edge F1 {f1([row]):.3f}"
            )
            lines.append(f"- {row.kind} {row.seed}: {what}")
    return "\n".join(lines)


def f1(rows: Iterable[Row]) -> float:
    """Length-weighted F1 of edge kinds over roofs."""
    found, true, right, measured = np.sum([row.edge_sums for row in rows], axis=0)
    if found == 0 or right == 0:
        return 0.0
    return float(2 / (true / found + measured / right))


def _accuracy_cells(group: Sequence[Row]) -> list[str]:
    good = [r for r in group if not r.failure]
    error = np.array([r.area_error for r in good]) * 100
    corners = [c for r in good for c in r.corners]
    lengths = _length_errors(good)
    of_right = _length_errors([r for r in good if not r.faults])
    return [
        str(len(group)),
        f"{len(group) - len(good)} / {sum(bool(r.not_certified) for r in good)}",
        f"{_share([f for r in group for f in _large(r, r.true_faces)]):.3f}"
        f" / {_share([f for r in good for f in _large(r, r.measured_faces)]):.3f}",
        f"{_percent(not r.faults and not r.failure for r in group)}"
        f" ({_percent(r.faults_any == 0 and not r.failure for r in group)})",
        f"{f1(group):.3f}",
        f"{_mean(error):+.2f} / {_quantile(np.abs(error), 0.5):.2f} / {_quantile(np.abs(error), 0.95):.2f}",
        f"{100 * _mean([r.area_half for r in good]):.2f}",
        f"{_quantile(lengths, 0.5):.1f} / {_quantile(lengths, 0.95):.1f}"
        f" ({_quantile(of_right, 0.5):.1f} / {_quantile(of_right, 0.95):.1f})",
        f"{100 * _quantile(corners, 0.5):.0f}",
        " / ".join(f"{_quantile(_pitch_errors(good, low, high), 0.95):.2f}" for low, high in BINS_M2),
        f"{_quantile([r.seconds for r in good], 0.5):.2f}",
    ]


def _calibration_cells(group: Sequence[Row]) -> list[str]:
    good = [r for r in group if not r.failure]
    small = [p[2:] for r in good for p in r.pitches if p[0] < 9.0]
    return [
        str(len(good)),
        _held([[(r.area_score, _inside(r.area_score))] for r in good]),
        _held([[a[1:] for a in r.areas] for r in good]),
        _held([[p[2:] for p in r.pitches] for r in good]),
        _held([[p[2:] for r in good for p in r.pitches]]),
        _held([small]),
        _held([[x[3:] for x in r.lengths] for r in good]),
        _held([[x[3:] for r in good for x in r.lengths]]),
        _held([[x[3:] for r in good for x in r.lengths if x[1] > 0 and x[2] > 0]]),
    ]


def _inside(score: float) -> float:
    return float(abs(score) <= NORMAL_POINT[-1])


def _held(roofs: Sequence[Sequence[tuple[float, float]]]) -> str:
    """Per cent of (score, inside 95 %) that hold at each share: the mean over roofs of each roof's mean."""
    filled = [roof for roof in roofs if roof]
    if not filled:
        return ""
    levels = [
        float(np.mean([np.mean([abs(score) <= point for score, _ in roof]) for roof in filled]))
        for point in NORMAL_POINT[: len(SHARES) - 1]
    ]
    levels.append(float(np.mean([np.mean([inside for _, inside in roof]) for roof in filled])))
    return " / ".join(f"{100 * level:.0f}" for level in levels)


def _large(row: Row, faces: Iterable[tuple[float, bool]]) -> list[bool]:
    return [fine for area_m2, fine in faces if area_m2 >= least_m2(row.sensor)]


def _share(flags: Sequence[bool]) -> float:
    return float(np.mean(flags)) if flags else float("nan")


def _percent(flags: Iterable[bool]) -> str:
    return f"{100 * _share(list(flags)):.0f}"


def _length_errors(rows: Iterable[Row]) -> list[float]:
    """Relative error [%] of the total length of each kind on each roof; 100 where it was not measured."""
    return [
        100 * abs(measured - true) / true
        for row in rows
        for _, true, measured, _, _ in row.lengths
        if true >= SHORT_M
    ]


def _pitch_errors(rows: Iterable[Row], low_m2: float, high_m2: float) -> list[float]:
    return [abs(p[1]) for row in rows for p in row.pitches if low_m2 <= p[0] < high_m2]


def _quantile(values: Sequence[float] | np.ndarray, share: float) -> float:
    return float(np.quantile(values, share)) if len(values) else float("nan")


def _mean(values: Sequence[float] | np.ndarray) -> float:
    return float(np.mean(values)) if len(values) else float("nan")


def _table(
    head: Sequence[str], rows: Iterable[Row], by: str, cells: Callable[[Sequence[Row]], list[str]]
) -> str:
    groups: dict[str, list[Row]] = {}
    for row in rows:
        groups.setdefault(getattr(row, by), []).append(row)
    lines = [f"| {' | '.join(head)} |", "|---" * len(head) + "|"]
    lines += [f"| {name} | {' | '.join(cells(group))} |" for name, group in groups.items()]
    return "\n".join(lines)
