"""covariance.json: how the areas and lengths of roof.json vary together.

A sum of areas has no bound of its own in roof.json; with this file beside it any sum has.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..errors import InputError
from ..measurement import Measurement
from ..roof import Edge, Joint, Plane
from ..scene import Notice
from .jsonfile import Field, rounded

FORMAT = "slopewright-covariance"
VERSION = 1
U_DECIMALS = 9
CORRELATION_DECIMALS = 9
AGREEMENT = 2e-5  # both files round to 1e-6; more than this is another run's file
EIGENVALUE_SLACK = 1e-6  # what rounding may take off a correlation matrix's smallest eigenvalue


def quantities(planes: tuple[Plane, ...], edges: tuple[Edge, ...]) -> dict[str, Measurement]:
    """The quantities a joint distribution describes, named as in `Joint`."""
    return {
        **{f"area:{plane.id}": plane.area for plane in planes},
        **{f"plan_area:{plane.id}": plane.plan_area for plane in planes},
        **{f"length:{edge.id}": edge.length for edge in edges},
    }


def covariance_json(joint: Joint) -> dict[str, Any]:
    """The content of covariance.json: values, standard uncertainties and the correlation's lower triangle.

    Returns
    -------
    dict
        `correlation[i]` has i + 1 numbers, the last of them 1.
    """
    u = np.sqrt(np.clip(np.diag(joint.covariance), 0.0, None))
    scale = np.where(u > 0, u, 1.0)
    correlation = np.clip(joint.covariance / np.outer(scale, scale), -1.0, 1.0)
    np.fill_diagonal(correlation, 1.0)
    return {
        "format": FORMAT,
        "version": VERSION,
        "names": list(joint.names),
        "values": [rounded(v) for v in joint.values],
        "u": [rounded(v, U_DECIMALS) for v in u],
        "correlation": [
            [rounded(c, CORRELATION_DECIMALS) for c in row[: i + 1]] for i, row in enumerate(correlation)
        ],
    }


def joint_from_json(content: Any, expected: dict[str, Measurement], *, file: str) -> Joint:
    """The joint distribution of a covariance.json that belongs to a roof.

    Parameters
    ----------
    content : dict
        As read.
    expected : dict of str to Measurement
        The roof's own quantities (`quantities`): each must be there with the same value.
    file : str
        Name of the file, for messages.

    Raises
    ------
    InputError
        If a field is missing or wrong, the correlation is none, or the file is of another roof.
    """
    root = Field(file, content)
    root.header(FORMAT, VERSION)
    names = root["names"].texts()
    if len(set(names)) != len(names):
        root["names"].fail("each name once")
    values = np.array(root["values"].vector(len(names)))
    u = np.array([field.number(0.0) for field in root["u"]])
    if len(u) != len(names):
        root["u"].fail(f"{len(names)} numbers")
    rows = list(root["correlation"])
    if len(rows) != len(names):
        root["correlation"].fail(f"{len(names)} rows")
    correlation = np.eye(len(names))
    for i, row in enumerate(rows):
        numbers = [field.number(-1.0, 1.0) for field in row]
        if len(numbers) != i + 1 or numbers[-1] != 1.0:
            row.fail(f"{i + 1} numbers, the last of them 1")
        correlation[i, : i + 1] = correlation[: i + 1, i] = numbers
    if len(names) and float(np.linalg.eigvalsh(correlation)[0]) < -EIGENVALUE_SLACK * len(names):
        raise InputError(f"{file}: correlation has a negative eigenvalue, need one that is possible")

    way_out = "need the file of the same run, or remove it to take all as fully correlated"
    found = dict(zip(names, values, strict=True))
    for name, measured in expected.items():
        if name not in found:
            raise InputError(f"{file}: names lacks {name!r}, {way_out}")
        if abs(found[name] - measured.value) > AGREEMENT:
            raise InputError(
                f"{file}: {name} is {found[name]:g}, roof.json says {measured.value:g}, {way_out}"
            )
    return Joint(names=names, values=values, covariance=correlation * np.outer(u, u))


def fully_correlated(expected: dict[str, Measurement], file: str) -> tuple[Joint, Notice]:
    """A joint distribution for a roof without one: every correlation 1, so no sum's bound is too narrow."""
    u = np.array([measured.u for measured in expected.values()])
    joint = Joint(
        names=tuple(expected),
        values=np.array([measured.value for measured in expected.values()]),
        covariance=np.outer(u, u),
    )
    text = f"no covariance.json beside {file}: bounds of sums take all areas and lengths as fully correlated"
    return joint, Notice(code="correlation_not_given", text=text)
