"""Small matrices only wait for more threads (set before numpy is loaded); drawn examples repeat."""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

from hypothesis import settings  # noqa: E402

# The same code gets the same verdict on every machine; HYPOTHESIS_PROFILE=default draws anew.
settings.register_profile("repeat", derandomize=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeat"))
