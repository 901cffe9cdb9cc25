"""Random fields that are smooth in space: the part of a sensor's noise that averaging does not remove."""

from __future__ import annotations

import numpy as np

from slopewright.scene import Array

N_WAVES = 96  # the field's variance at a spot scatters by sqrt(2 / 96), 14 %, from draw to draw


def smooth_field(
    points: Array, rng: np.random.Generator, *, length_m: float, smoothness: float = 1.5
) -> Array:
    """A Gaussian field of unit variance with Matérn covariance, at given points.

    Parameters
    ----------
    points : array, shape (n, d)
        Coordinates [m], d = 1, 2 or 3.
    length_m : float
        Correlation length l.  In the plane the covariance integrates to 2 pi l² whatever the
        smoothness: an area A is worth about A / (2 pi l²) independent points (40 m² at 1.5 m: 2.8).
    smoothness : float
        Matérn nu: 0.5 is the exponential exp(-r/l), 1.5 is once differentiable, large is Gaussian.

    Returns
    -------
    array, shape (n,)

    Notes
    -----
    A sum of plane waves with wave vectors drawn from the spectral density, which for the Matérn
    covariance is a multivariate t density with 2 nu degrees of freedom and scale 1/l [1]_ [2]_.

    References
    ----------
    .. [1] C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning," MIT Press,
       2006, eq. 4.15.
    .. [2] A. Rahimi, B. Recht, "Random features for large-scale kernel machines," NIPS 20, 2007.
    """
    n_dims = points.shape[1]
    waves = rng.normal(size=(n_dims, N_WAVES)) / length_m
    waves *= np.sqrt(2 * smoothness / rng.chisquare(2 * smoothness, N_WAVES))
    phases = rng.uniform(0, 2 * np.pi, N_WAVES)
    # single precision is ample for noise and halves the time; centre first, as map coordinates are large
    centred = (points - points.mean(axis=0)).astype(np.float32) if len(points) else points
    angle = centred @ waves.astype(np.float32)
    angle += phases.astype(np.float32)
    return np.cos(angle, out=angle).sum(axis=1, dtype=np.float64) * np.sqrt(2 / N_WAVES)
