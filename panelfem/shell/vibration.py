"""Natural frequencies and shapes of a shell, at rest or about a loaded state, with proof that none is missed.

Small free motion about a state with tangent K and mass M: K φ = ω² M φ, with the rows of fixings and contacts inside.
The modes come from block Lanczos with a shift σ < 0 below all ω², so that a free panel is no exception.  Inner unknowns
are eliminated at the shift, exactly; the mass acts on all unknowns, so nothing is lumped or condensed.

The negative pivots of K − τM count the ω² below τ (Sylvester's law of inertia): just above the highest frequency
reported there must be as many as are reported.  Where there are more, the search goes on.

Source: counting, Parlett 1980, *The Symmetric Eigenvalue Problem*, chapter 3; effective masses, Clough & Penzien,
*Dynamics of Structures*, chapter 26 (both from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import qr
from scipy.sparse import csr_array, vstack

from panelfem.arrays import FloatArray
from panelfem.errors import ModelError
from panelfem.shell.bordered import Bordered, Rows
from panelfem.shell.element import chunks
from panelfem.shell.equilibrium import Acting, Equilibrium, Fixings, Point, Stiffness
from panelfem.shell.krylov import Krylov
from panelfem.shell.modes import TIE, Modes
from panelfem.shell.rigid import RigidMotions, describe

if TYPE_CHECKING:
    from panelfem.shell.mass import Mass
    from panelfem.shell.shell import Shell
    from panelfem.shell.system import Supports

TRIES = 12
"""Times that a search is taken up again, for modes that it missed or a frequency it would have cut in two."""

SAME = 1e-6
"""Share of ω² within which neighbours are one multiple frequency, which is never cut in two."""

LOOSE = 1e-4
"""The same as a share of the shift, for ω² near zero: rounding scatters those of a plate of a/h = 10⁴ by 3e-5."""

ZERO = 1e-9
"""Share of the first elastic ω² up to which one at rest is zero (measured on free plates: 1e-13 at a/h = 10⁴)."""

ZERO_LOADED = 1e-6
"""The same about a loaded state, where ω² come from the shift (6e-9 at a/h = 10³, 6e-7 at 10⁴)."""

ROUGH = 1e-4
"""Difference of ω² by strain energy and from the shift, as a share, beyond which rounding is said to be felt."""


def unloaded(shell: Shell, supports: Supports) -> Equilibrium:
    """A panel without loads, held by `supports` and its fixings."""
    nothing = Acting(np.zeros(shell.n_total))
    fixings = None
    if supports.fixings is not None:
        rows, k = supports.fixings
        fixings = Fixings(rows, k, np.zeros(len(k)))
    return Equilibrium(shell, nothing, nothing, supports.fixed, supports.extra, fixings)


def vibration(
    equilibrium: Equilibrium, mass: Mass, count: int, about: Point | None = None, start: FloatArray | None = None
) -> Modes:
    """The lowest `count` modes, or a few more where a multiple frequency would be cut in two.

    `about`: a point of the equilibrium; its loads stay as they are and shapes that touch stay in touch.  The tangent is
    taken symmetric: all of it is but for follower pressure at free edges, which is averaged with its transpose.  None:
    the panel at rest without any load or shape.

    `start` (n_total, m): shapes near those looked for, as elements of another order give them (`carried`); they save
    work and change nothing else, for the count is made all the same.

    Raises ModelError for no mass, for fewer modes than asked for, and where the count does not confirm those found.
    """
    if count < 1:
        raise ModelError(f"{count} modes are asked for", where="vibration", allowed="1 or more")
    return _Search(_State(equilibrium, mass, about), start).lowest(count)


def count_below(equilibrium: Equilibrium, mass: Mass, omega: float, about: Point | None = None) -> int:
    """Number of modes below a circular frequency `omega` > 0 rad/s, from one factorisation; see `vibration`."""
    if not omega > 0.0:
        raise ModelError(f"modes below {omega:g} rad/s are asked for", where="vibration", allowed="above 0")
    return _State(equilibrium, mass, about).shifted(omega**2).negatives


class _State:
    """The symmetric matrices of a panel at rest or about a point, and their factors at any shift."""

    def __init__(self, equilibrium: Equilibrium, mass: Mass, about: Point | None) -> None:
        if mass.shell.layout is not equilibrium.shell.layout:
            raise ModelError("the mass belongs to another mesh", where="vibration", do="make both of one shell")
        if not mass.total > 0.0:
            raise ModelError("nothing has a mass", where="vibration", do="give the skin a mass per area")
        self.at_rest = about is None
        if about is None:
            e, nothing = equilibrium, Acting(np.zeros(equilibrium.shell.n_total))
            equilibrium = Equilibrium(
                e.shell, nothing, nothing, e.held.reshape(-1, 6), e.extra, e.fixings, large=e.large
            )
            about = equilibrium.rest()
        else:
            mass = mass.at(equilibrium.large, about.pose)
        self.equilibrium, self.mass, self.point = equilibrium, mass, about
        found = equilibrium.stiffness(about)
        extra = None if found.extra is None else csr_array(0.5 * (found.extra + found.extra.T))
        for part in chunks(equilibrium.large.tables.linear, len(found.full)):
            found.full[part] = 0.5 * (found.full[part] + found.full[part].swapaxes(1, 2))
        self.stiffness = Stiffness(found.full, extra, found.rows)
        self.inertia = mass.full()

    def shifted(self, shift: float) -> Bordered:
        """The factor of K − `shift` · M."""
        s, hung = self.stiffness, self.mass.hung
        rows, more = s.rows, self.mass.hung.shape[0]
        if more:
            rows = Rows(
                csr_array(vstack([rows.rows, hung])),
                np.append(rows.give, np.full(more, -1.0 / shift)),
                np.vstack([rows.coupling, np.zeros((more, len(rows.tail)))]),
                rows.tail,
            )
        full = -shift * self.inertia
        full += s.full
        return Bordered(self.equilibrium.shell.layout, full, self.equilibrium.held, s.extra, rows)

    def energies(self, shapes: FloatArray) -> FloatArray:
        """ω² (n,) of shapes at rest as twice the energies of their strains, springs and fixings over their mass.

        A rigid motion has no strain to rounding, so zero comes out far smaller than from the matrix.
        """
        large, s = self.equilibrium.large, self.stiffness
        out = np.zeros(shapes.shape[1])
        for chunk in large.chunks:
            moved = large.at(chunk, self.point.pose)
            strain = np.stack([large.change(chunk, moved, shape) for shape in shapes.T], axis=2)
            out += np.einsum("eij,eij->j", strain, chunk.law(strain))
        if s.extra is not None:
            outer = shapes[: s.extra.shape[0]]
            out += np.einsum("ij,ij->j", outer, s.extra @ outer)
        gives = s.rows.give > 0.0
        out += ((s.rows.rows[gives] @ shapes) ** 2 / s.rows.give[gives, None]).sum(axis=0)
        return np.asarray(out / np.einsum("ij,ij->j", shapes, self.mass(shapes)))


class _Search:
    """The modes of one state: its factor at the shift and the space of vectors so far."""

    def __init__(self, state: _State, start: FloatArray | None) -> None:
        self.state, self.mass, self.shell = state, state.mass, state.equilibrium.shell
        self.shift = -slow(state.mass)
        for _ in range(40):
            self.factor: Bordered | None = state.shifted(self.shift)
            if self.factor.negatives == 0:
                break
            self.shift *= 4.0
        else:
            raise ModelError(
                "no shift lies below all frequencies",
                where="vibration",
                do="look for a thickness below a millionth of the panel, or masses and stiffnesses that are not right",
            )
        self.space = Krylov(self._answer, state.mass, self.shell.n_total, start)

    def _answer(self, image: FloatArray) -> FloatArray:
        """(K − σM)⁻¹ of columns (n_total, c)."""
        if self.factor is None:
            self.factor = self.state.shifted(self.shift)
        return self.factor.solve(image)[0]

    def lowest(self, count: int) -> Modes:
        """The lowest `count` modes, confirmed."""
        wanted, n, below = count + 1, 0, 0
        for _ in range(TRIES):
            theta, shapes = self.space.greatest(wanted)
            squares = self.shift + 1.0 / theta
            if len(squares) < count:
                raise ModelError(
                    f"{count} modes are asked for and the model has {len(squares)}",
                    where="vibration",
                    do="ask for fewer",
                )
            n = self._whole(squares, count)
            if n == len(squares) == wanted:  # the frequency goes on beyond what was found
                wanted *= 2
                continue
            self.factor = None  # one at a time: they are what takes the memory
            below = self.state.shifted(self._above(squares, n)).negatives
            if below == n:
                return self._modes(squares, shapes, n)
            wanted = max(wanted, below + 1)
        raise ModelError(
            f"{n} frequencies are found and {below} are counted below the next one",
            where="vibration",
            do="ask for a different number of modes, or look for parts that hardly hold together",
        )

    def _whole(self, squares: FloatArray, count: int) -> int:
        """The least number from `count` on that cuts no multiple frequency in two; all, if none does."""
        gap = np.diff(squares) > SAME * np.abs(squares[1:]) + LOOSE * abs(self.shift)
        ends = np.flatnonzero(gap[count - 1 :])
        return count + int(ends[0]) if len(ends) else len(squares)

    def _above(self, squares: FloatArray, n: int) -> float:
        """A little above the first n of ω², and below the next."""
        further = squares[n] if n < len(squares) else np.inf
        step = 0.01 * max(abs(squares[n - 1]), abs(self.shift) if np.isinf(further) else abs(further))
        return float(squares[n - 1] + min(0.5 * (further - squares[n - 1]), step))

    def _modes(self, squares: FloatArray, shapes: FloatArray, n: int) -> Modes:
        further = squares[n] if n < len(squares) else squares[-1]
        squares, shapes, notes = squares[:n], shapes[:, :n], []
        if self.state.at_rest:
            rough, squares = squares, self.state.energies(shapes)
            off = float((np.abs(rough - squares) / (squares + abs(self.shift))).max())
            if off > ROUGH:
                notes.append(f"so thin a panel that rounding is felt: ω² found in two ways differ by {off:.0e}")
            order = np.argsort(squares, kind="stable")
            squares, shapes = squares[order], shapes[:, order]
        share = ZERO if self.state.at_rest else ZERO_LOADED
        every = np.append(squares, further)
        floor = share * float(every[every > share * further].min(initial=further))
        zero = np.abs(squares) <= floor
        squares = np.where(zero, 0.0, squares)
        shapes = shapes * _signs(self.shell, shapes)
        participation = (self.mass(self.mass.shifts).T @ shapes).T
        if (squares < 0.0).any():
            ways = int((squares < 0.0).sum())
            notes.append(f"the state is not stable: it can give in {ways} way{'s' if ways > 1 else ''}, with ω² < 0")
        if zero.any():
            notes.append(self._say(shapes[:, zero]))
        return Modes(squares, shapes, participation, self.mass.total, int(zero.sum()), tuple(notes))

    def _say(self, shapes: FloatArray) -> str:
        """Zero frequencies in words."""
        n = shapes.shape[1]
        words = f"{n} zero frequenc{'ies' if n > 1 else 'y'}"
        motions = RigidMotions.of(self.shell.layout, self.shell.active)
        if not self.state.at_rest or len(motions.size) > 1:
            return f"{words}: motions that nothing resists"
        rigid = motions.motion.toarray()
        image = self.mass(rigid)
        amount = np.linalg.lstsq(rigid.T @ image, image.T @ shapes)[0]
        left = shapes - rigid @ amount
        if np.einsum("ij,ij->j", left, self.mass(left)).max() > TIE:
            return f"{words}: motions that nothing resists, in which the panel changes its shape"
        across = np.linalg.qr(amount)[0]
        basis = qr(across @ across.T, pivoting=True)[0][:, :n]  # along single motions, where they are in it
        return f"{words}: the panel is free to {describe(basis, motions.centre[0], float(motions.radius[0]))}"


def slow(mass: Mass) -> float:
    """A rough ω² (rad²/s²) that hardly any elastic frequency of the panel lies far below: that of a beam of the panel's
    length and the laminates' least bending and shear stiffness, with all that hangs on it spread evenly."""
    shell = mass.shell
    radius = float(RigidMotions.of(shell.layout, shell.active).radius.max())
    C = shell.stiffness[shell.active]
    A, B, D, S = C[:, :3, :3], C[:, :3, 3:6], C[:, 3:6, 3:6], C[:, 6:, 6:]
    reduced = D - B.swapaxes(1, 2) @ np.linalg.solve(A, B)
    bending = float(np.median(np.linalg.eigvalsh(reduced)[:, 0]))
    shear = float(np.median(np.linalg.eigvalsh(S)[:, 0]))
    per_area = mass.total / float(mass.area.sum())
    return 1.0 / (per_area * (radius**4 / bending + radius**2 / shear))


def _signs(shell: Shell, shapes: FloatArray) -> FloatArray:
    """±1 (n,): what makes the greatest displacement component of each shape positive, the first if several are."""
    moved = shapes[np.unique(shell.layout.displacement_unknowns)]
    size = np.abs(moved)
    first = np.argmax(size >= (1.0 - TIE) * size.max(axis=0), axis=0)
    return np.where(moved[first, np.arange(shapes.shape[1])] < 0.0, -1.0, 1.0)
