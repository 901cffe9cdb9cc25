"""Clouds of plain shapes, written by hand: a gable house on its ground, and things that are no house."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np


def grid(x0, x1, y0, y1, step=0.25):
    """Points of a level grid, shape (n, 2) [m]."""
    x, y = np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def gable_house(length=12.0, width=8.0, rise=6.0, eave_z=3.0, noise_m=0.01, margin=10.0, at=(0.0, 0.0)):
    """A gable roof over a lawn with walls, shape (n, 3) [m]; ridge along x, corner of the eaves at `at`."""
    rng = np.random.default_rng(7)
    roof = grid(0, length, 0, width)
    z = eave_z + np.minimum(roof[:, 1], width - roof[:, 1]) * rise / 12
    ground = grid(-margin, length + margin, -margin, width + margin, 0.5)
    outside = (ground < (-0.2, -0.2)).any(axis=1) | (ground > (length + 0.2, width + 0.2)).any(axis=1)
    ground = ground[outside]
    points = np.concatenate([np.column_stack([roof, z]), np.column_stack([ground, np.zeros(len(ground))])])
    points += rng.normal(0.0, noise_m, points.shape)
    return points + np.array([*at, 0.0])


def lawn(side=30.0, slope=0.05):
    """A tilted lawn with nothing on it."""
    xy = grid(0, side, 0, side)
    return np.column_stack([xy, slope * xy[:, 0]]) + np.random.default_rng(1).normal(0, 0.02, (len(xy), 3))


def floor(side=8.0):
    """A level floor."""
    xy = grid(0, side, 0, side, 0.1)
    return np.column_stack([xy, np.zeros(len(xy))]) + np.random.default_rng(2).normal(0, 0.002, (len(xy), 3))


def sphere(radius=5.0, n=20_000):
    """A ball."""
    v = np.random.default_rng(3).normal(size=(n, 3))
    return radius * v / np.linalg.norm(v, axis=1, keepdims=True)


def write_xyz(path: Path, points) -> Path:
    """Text, one point a line."""
    np.savetxt(path, points, fmt="%.4f")
    return path


def write_las(path: Path, points, *, crs=None, scale=0.001) -> Path:
    """LAS or LAZ, by the name's ending."""
    header = laspy.LasHeader(point_format=6 if crs else 3, version="1.4" if crs else "1.2")
    header.scales, header.offsets = [scale] * 3, np.floor(points.min(axis=0))
    if crs:
        header.add_crs(crs)
    cloud = laspy.LasData(header)
    cloud.xyz = points
    cloud.write(path)
    return path
