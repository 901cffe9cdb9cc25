"""The command line: arguments in, `run` called, exit status out.  Imports nothing but click until it must."""

from __future__ import annotations

import os

# Many small matrices: more threads only wait for each other, and sums would depend on their number.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from .main import main  # noqa: E402

__all__ = ["main"]
