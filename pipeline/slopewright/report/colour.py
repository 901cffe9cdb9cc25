"""One ramp of colour for pitch: equal steps of slope look equally different, to colour-blind eyes as well.

The ramp is a straight line in CIELAB, from light yellow (level) to middle blue (steep): equal steps are equal
colour differences by the definition of that space, lightness falls all the way, and hue moves along the
yellow-blue axis, which red-green blindness leaves alone.  Its dark end keeps black text readable.

References
----------
.. [1] ISO/CIE 11664-4:2019, CIE 1976 L*a*b* colour space.
.. [2] IEC 61966-2-1:1999, sRGB.
"""

from __future__ import annotations

import numpy as np

from ..scene import Array

LEVEL_LAB = np.array([95.0, -3.0, 24.0])
STEEP_LAB = np.array([62.5, 0.0, -30.0])
STEEPEST_DEG = 60.0  # a roof steeper than that has the colour of the end
_WHITE = np.array([0.95047, 1.0, 1.08883])  # D65, 2 degrees
_RGB_FROM_XYZ = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)  # linear sRGB, the inverse of the primaries of [2]


def linear_rgb(pitch_deg: float) -> Array:
    """Colour of a pitch as linear light, shape (3,), 0 to 1: what glTF asks for."""
    share = min(max(pitch_deg / STEEPEST_DEG, 0.0), 1.0)
    lightness, a, b = LEVEL_LAB + share * (STEEP_LAB - LEVEL_LAB)
    y = (lightness + 16) / 116
    roots = np.array([y + a / 500, y, y - b / 200])
    xyz = _WHITE * np.where(roots > 6 / 29, roots**3, 3 * (6 / 29) ** 2 * (roots - 4 / 29))
    linear: Array = np.clip(_RGB_FROM_XYZ @ xyz, 0.0, 1.0)
    return linear


def css_colour(pitch_deg: float) -> str:
    """Colour of a pitch as #rrggbb."""
    linear = linear_rgb(pitch_deg)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return "#" + "".join(f"{round(255 * c):02x}" for c in encoded)
