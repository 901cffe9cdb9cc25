"""From a need to whole packages, with the chance of running short."""

from __future__ import annotations

import math

import numpy as np

from ..roof import Order
from ..scene import Array
from .strips import whole

ROUNDING_RULE = (
    "order: the fewest whole packages whose chance of running short is at most 1 - assurance;"
    " a need within a millionth of a package of a whole number counts as that number"
)


def order_packages(packages: Array, *, unit: str, assurance: float) -> Order:
    """Choose the fewest whole packages that suffice with the wanted chance.

    Parameters
    ----------
    packages : array, shape (n,)
        Draws of the need, in packages, not yet whole.
    unit : str
        Name of the package.
    assurance : float
        Wanted chance that the order suffices, 0 < assurance < 1.

    Returns
    -------
    Order
        `chance_short` is the share of draws that need more than `quantity`, at most 1 - assurance.
    """
    need = np.sort(whole(packages))[::-1]
    allowed = math.floor((1 - assurance) * len(need) + 1e-9)
    quantity = int(need[min(allowed, len(need) - 1)])
    return Order(quantity=quantity, unit=unit, chance_short=float(np.mean(need > quantity)))
