"""Forgetting curves fitted to published savings, by least squares, as the sources fitted them.

The model's own law is Wickelgren's form m = lambda (1 + beta t) ** -psi (see law.py); here it and
the forms it is compared with are fitted to data. Times may be in any unit as long as it is kept.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from coldtake.learning.memory_law import Array

Curve = Callable[[Array, Array], Array]


def power(t: Array, p: Array) -> Array:
    """A * t ** -b (Wixted and Ebbesen 1991, Psychological Science 2:409)."""
    return np.asarray(p[0] * t ** -p[1])


def wickelgren(t: Array, p: Array) -> Array:
    """(1 + beta t) ** -psi, lambda = 1: everything is there at t = 0."""
    return np.asarray((1.0 + p[0] * t) ** -p[1])


def exponential(t: Array, p: Array) -> Array:
    """A * exp(-k t)."""
    return np.asarray(p[0] * np.exp(-p[1] * t))


def ebbinghaus(t_min: Array, p: Array) -> Array:
    """K / (log10(t) ** c + k), t in minutes > 1 (Ebbinghaus 1885, section 29)."""
    return np.asarray(p[0] / (np.log10(t_min) ** p[1] + p[0]))


@dataclass(frozen=True, slots=True)
class Fit:
    """Parameters of a fitted curve, its sum of squared deviations, and R squared (centred)."""

    parameters: tuple[float, ...]
    ssd: float
    r_squared: float


def fit(curve: Curve, t: Array, kept: Array, start: tuple[float, ...]) -> Fit:
    """Fit a curve to the shares kept after t by least squares; parameters stay positive."""
    logs = np.log(np.array(start))

    def deviations(q: Array) -> Array:
        return curve(t, np.exp(q)) - kept

    found = least_squares(deviations, logs, xtol=1e-14, ftol=1e-14)
    ssd = float(np.sum(found.fun**2))
    total = float(np.sum((kept - kept.mean()) ** 2))
    return Fit(tuple(float(v) for v in np.exp(found.x)), ssd, 1.0 - ssd / total)
