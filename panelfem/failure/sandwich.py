"""Modes of sandwiches, and shear between plies: what a plane stress in a ply cannot show.

Strengths are compared with stresses from equilibrium through the thickness.  Wrinkling and crimping are
instabilities on a length far below the panel's, so they are compared with the local compression.  All
formulas are elementwise on arrays.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import overload

import numpy as np

from panelfem.arrays import FloatArray
from panelfem.errors import InputError
from panelfem.failure.solve import Stretch, first_reach
from panelfem.laminate import Laminate
from panelfem.material import CoreMaterial, PlyMaterial

#: The wrinkling formula used, by kind of core, in words for reports.
WRINKLING: Mapping[str, str] = MappingProxyType(
    {
        "foam": "isotropic foam core: the lesser of 0.5 (Ef Ec Gc)^1/3 (Hoff & Mautner) and B1 Ef^1/3 Ec^2/3 (Allen)",
        "honeycomb": "honeycomb core: 0.5 (Ef Ec Gc)^1/3 (Hoff & Mautner)",
    }
)


def hoff_mautner(Ef: FloatArray | float, Ec: float, Gc: FloatArray | float) -> FloatArray:
    """Wrinkling stress 0.5 (Ef Ec Gc)^⅓ of a skin, Pa: the design value (the perfect skin takes about 0.9).

    Source: N. J. Hoff & S. E. Mautner 1945, J. Aeronaut. Sci. 12:285 (recalled).

    >>> round(float(hoff_mautner(60e9, 85e6, 28e6)) / 1e6, 2)
    261.34
    """
    return np.asarray(0.5 * np.cbrt(np.asarray(Ef) * Ec * np.asarray(Gc)))


def allen_factor(nu_c: float) -> float:
    """B1 = 3 [12 (3 − nu)² (1 + nu)²]^(−⅓) of an isotropic core.

    Source: H. G. Allen 1969, Analysis and Design of Structural Sandwich Panels, chapter 8 (recalled).

    >>> round(allen_factor(0.25), 4)
    0.5753
    """
    return float(3.0 * (12.0 * (3.0 - nu_c) ** 2 * (1.0 + nu_c) ** 2) ** (-1.0 / 3.0))


def allen(Ef: FloatArray | float, Ec: float, nu_c: float) -> FloatArray:
    """Wrinkling stress B1 Ef^⅓ Ec^⅔ of a perfect skin on a deep isotropic core, Pa: elastic theory, no
    waviness.

    Source: H. G. Allen 1969, Analysis and Design of Structural Sandwich Panels, chapter 8 (recalled).
    """
    return np.asarray(allen_factor(nu_c) * np.cbrt(np.asarray(Ef)) * Ec ** (2.0 / 3.0))


def wrinkling(Ef: FloatArray | float, core: CoreMaterial, direction: FloatArray | float | None = None) -> FloatArray:
    """Compressive stress (positive, Pa) at which a skin of modulus `Ef` wrinkles on `core`; the formula is
    `WRINKLING[core.kind]`.

    `direction` rad from the ribbon, of the compression (broadcasts with `Ef`); None: the weaker core
    direction is taken.

    >>> from panelfem.material import library
    >>> (wrinkling(np.array([60e9, 30e9]), library()["honeycomb-aramid-48"]) / 1e6).round(1)
    array([286., 227.])
    """
    if direction is None:
        Gc: FloatArray | float = min(core.G13, core.G23)
    else:
        Gc = core.G13 * np.cos(direction) ** 2 + core.G23 * np.sin(direction) ** 2
    design = hoff_mautner(Ef, core.E, Gc)
    return np.minimum(design, allen(Ef, core.E, core.nu)) if core.kind == "foam" else design


def dimpling(Ef: FloatArray | float, nu_f: float, skin: float, cell: float) -> FloatArray:
    """Compressive stress 2 Ef/(1 − nu²) (skin/cell)² at which a skin (m) dimples over honeycomb cells (m),
    Pa.

    Source: MIL-HDBK-23A 1968, Structural Sandwich Composites (recalled).

    >>> round(float(dimpling(60e9, 0.3, 0.5e-3, 3.2e-3)) / 1e6)
    3219
    """
    return np.asarray(2.0 * np.asarray(Ef) / (1.0 - nu_f**2) * (skin / cell) ** 2)


@overload
def crimping(laminate: Laminate, direction: float) -> float: ...
@overload
def crimping(laminate: Laminate, direction: FloatArray) -> FloatArray: ...
def crimping(laminate: Laminate, direction: FloatArray | float) -> FloatArray | float:
    """In-plane compression (N/m, positive) along `direction` (rad from the 0° axis) at which the core crimps.

    It is the transverse shear stiffness in that direction: the buckling load of a sandwich whose wavelength
    goes to zero.

    Source: MIL-HDBK-23A 1968, Structural Sandwich Composites; D. Zenkert 1995, An Introduction to Sandwich
    Construction, chapter 5 (both recalled).
    """
    c, s = np.cos(direction), np.sin(direction)
    H = laminate.shear
    value = H[0, 0] * c * c + 2.0 * H[0, 1] * c * s + H[1, 1] * s * s
    return value if isinstance(value, np.ndarray) else float(value)


def crimping_thin_skins(Gc: float, core: float, distance: float) -> float:
    """Crimping for thin stiff skins, handbook form: Gc (distance of skin middles)² / core thickness, N/m."""
    return Gc * distance**2 / core


def core_shear(applied: FloatArray, residual: FloatArray, core: CoreMaterial, strength: float = 1.0) -> FloatArray:
    """Reserve factor (...,) of the core's shear strength: (t13/S13)² + (t23/S23)² = 1 (common practice, no
    source).

    `applied`, `residual` (..., 2): transverse shear stresses [t13, t23] in core axes, Pa; the residual is
    held. inf if never reached; nan where the residual alone reaches it.

    >>> from panelfem.material import library
    >>> float(core_shear(np.array([0.5e6, 0.0]), np.zeros(2), library()["foam-pvc-80"]))
    2.0
    """
    return _vector(applied, residual, strength * np.array([core.shear_strength_13, core.shear_strength_23]))


def interlaminar_shear(
    applied: FloatArray, residual: FloatArray, ply: PlyMaterial, strength: float = 1.0
) -> FloatArray:
    """Reserve factor (...,) of shear between plies: √(t13² + t23²) = Sil (common practice, no source).

    Arguments and result as for :func:`core_shear`, in ply axes.
    """
    return _vector(applied, residual, strength * np.array([ply.Sil, ply.Sil]))


def compression(applied: FloatArray, residual: FloatArray, critical: FloatArray | float) -> FloatArray:
    """Reserve factor (...,) of a normal stress or resultant, tension positive, against a `critical`
    compression > 0.

    inf if the applied part does not compress; nan where the residual alone reaches it.

    >>> compression(np.array([-1.0, 1.0, -1.0]), np.array([0.0, 0.0, -3.0]), 2.0)
    array([ 2., inf, nan])
    """
    limit = np.asarray(critical, np.float64)
    if not bool((limit > 0.0).all()):
        raise InputError("a critical compression is not positive", allowed="above 0")
    a, r, limit = np.broadcast_arrays(-np.asarray(applied, np.float64), -np.asarray(residual, np.float64), limit)
    with np.errstate(all="ignore"):
        flat = first_reach(0.0, (a / limit).ravel(), (r / limit).ravel() - 1.0, Stretch(), (r >= limit).ravel(), a.size)
    return flat.reshape(a.shape)


def _vector(applied: FloatArray, residual: FloatArray, allowed: FloatArray) -> FloatArray:
    if not bool((allowed > 0.0).all()):
        raise InputError("a shear strength is not positive", allowed="above 0")
    x, y = np.broadcast_arrays(np.asarray(applied, np.float64), np.asarray(residual, np.float64))
    if x.shape[-1:] != (2,):
        raise InputError(f"transverse shear stresses have shape {x.shape}", allowed="(..., 2)")
    x, y = (x / allowed).reshape(-1, 2), (y / allowed).reshape(-1, 2)
    with np.errstate(all="ignore"):
        start = (y * y).sum(1) - 1.0
        flat = first_reach((x * x).sum(1), 2.0 * (x * y).sum(1), start, Stretch(), start >= 0.0, len(x))
    return flat.reshape(np.broadcast_shapes(np.shape(applied), np.shape(residual))[:-1])


def isotropic_hoff_factor(nu_c: float) -> float:
    """Allen's factor written in the form of Hoff & Mautner for an isotropic core, B1 (2 (1 + nu))^⅓.

    >>> round(isotropic_hoff_factor(0.25), 3)
    0.781
    """
    return allen_factor(nu_c) * math.pow(2.0 * (1.0 + nu_c), 1.0 / 3.0)
