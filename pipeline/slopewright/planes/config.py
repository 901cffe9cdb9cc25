"""Settings of the planes stage.  Metres, radians and square metres; most thresholds follow the noise."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..errors import InputError
from ..scene import DENSE_SPACING_M


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanesConfig:
    """One set for every sensor; what differs between sparse and dense clouds has two fields."""

    voxel_m: float = 0.10  # dense clouds are summed in cubes of this side; 0.14 loses 2 m² dormer faces
    dense_spacing_m: float = DENSE_SPACING_M  # below it a cloud is dense
    min_noise_m: float = 0.008  # no cloud of a roof is better: shingles are no planes
    grow_sigma_sparse: float = 2.5  # distance to a growing plane, in standard deviations of the noise
    grow_sigma_dense: float = 3.5
    normal_angle_rad: float = np.radians(25.0)
    none_price: float = 4.5  # energy of belonging to no plane: 3 sigma
    potts: float = 0.25  # energy of a neighbour with another label
    normal_weight: float = 0.5
    merge_rho_sparse: float = 2.5  # price of a plane, in noise variances per point of the smaller one
    merge_rho_dense: float = 6.0  # correlated noise bends pieces of 2 m by 2 degrees
    merge_angle_rad: float = np.radians(18.0)
    rounds: int = 6
    seed_area_m2: float = 0.6
    min_area_m2: float = 1.0  # smaller planes are not reported
    tree_area_m2: float = 12.0
    tree_contacts: float = 0.7
    wall_slope_rad: float = np.radians(80.0)
    roof_area_m2: float = 2.0  # no plane of this size: no roof

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if not (np.isfinite(value) and value > 0):
                raise InputError(f"planes.{item.name}: got {value}, need a number above zero")
        if self.wall_slope_rad >= np.pi / 2:
            raise InputError(f"planes.wall_slope_rad: got {self.wall_slope_rad}, need less than pi/2")
