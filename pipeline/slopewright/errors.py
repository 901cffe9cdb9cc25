"""The one error family.

SlopewrightError
├── InputError (ValueError)          a file, field or flag the user gave cannot be used: exit status 2
│   ├── DegenerateGeometryError      the geometry does not determine what was asked (points on a line)
│   └── NoRoofError                  the input is readable and holds no roof that can be measured
└── NotCertifiedError (RuntimeError) measured, but bounds too wide or checks failed: exit status 3

The text is *what: got, need*: it names the file and the field or flag, what was found there, and the way out.
"""


class SlopewrightError(Exception):
    """Root of the family."""


class InputError(SlopewrightError, ValueError):
    """Something the user gave cannot be used."""


class DegenerateGeometryError(InputError):
    """The points or lines do not determine what was asked of them."""


class NoRoofError(InputError):
    """No roof that can be measured is in the input."""


class NotCertifiedError(SlopewrightError, RuntimeError):
    """Measured, but the result is too uncertain or contradicts its checks."""
