"""Natural vibrations of a state at rest, as fitted: the tones a tap or a shaker finds, and which is which of those of
the undamaged panel.

Frequencies are those of the higher order; their bars come from the same vibration of the lower one, known by its shape.

An area taken to carry nothing would come with tones of its own, which mean nothing, below those of the panel.  So it
has no mass here: what it weighs, and what hangs on it, moves with the elements around it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from panelfem.accuracy.bars import measured
from panelfem.accuracy.layer import unresolved
from panelfem.arrays import FloatArray, IntArray
from panelfem.assess.records import Tone, Vibration
from panelfem.errors import ModelError
from panelfem.loads.fixings import supported
from panelfem.loads.masses import panel_mass
from panelfem.panel import Panel
from panelfem.reserve.check import Words
from panelfem.shell import Shell, Supports
from panelfem.shell.large import carried
from panelfem.shell.layout import Layout
from panelfem.shell.mass import Mass, spread_mass
from panelfem.shell.modes import Modes, assurance, counterparts, greatest_motion
from panelfem.shell.rigid import RigidMotions, check_held, pieces
from panelfem.shell.vibration import unloaded, vibration
from panelfem.units import show

#: Tones that are looked for.
COUNT = 6
#: So many more with the lower order, for those that change places at the end of the list.
MORE = 2
#: Assurance from which a vibration of the lower order has a part in one that is like none of them.
PART = 0.1
#: Share of a frequency within which neighbours may be one multiple frequency that the mesh has split.
CLOSE = 0.01
#: Share by which assurances with single modes count, where those with all of a multiple frequency are equal.
SINGLE = 1e-3


@dataclass(frozen=True)
class Whole:
    """What is known of the undamaged `panel`, to compare with: its `vibration`, the `shapes` (n_total, n) of the tones
    with the higher order, and the mass per area with its moments (ne, 3).
    """

    panel: Panel
    vibration: Vibration
    shapes: FloatArray
    moments: FloatArray


@dataclass(frozen=True)
class _Found:
    """The modes of a panel with elements of one order."""

    shell: Shell
    supports: Supports
    mass: Mass
    modes: Modes


def vibrate(
    panel: Panel, layouts: tuple[Layout, Layout], words: Words, whole: Whole | None = None
) -> tuple[Vibration, Whole]:
    """The lowest vibrations of a panel about its undeformed shape, without any load.

    `layouts` of the two orders on the panel's mesh; `whole`: what this gave for the undamaged panel, None: this is the
    undamaged panel.  What keeps tones from being found, such as a part free to move, is said in the notes.
    """
    if whole is not None and _alike(panel, whole.panel):
        return whole.vibration, whole
    original = panel
    panel, notes = _hanging(panel)
    try:
        hertz, near = _lower(panel, layouts)
        found = _found(panel, layouts[1], COUNT, near)
    except ModelError as fault:
        mass = panel.mass() + sum(hung.mass for hung in panel.masses)
        none = Vibration((), mass, (*notes, f"no vibrations were found: {fault}"))
        nothing = np.zeros((layouts[1].n_total, 0)), np.zeros((layouts[1].ne, 3))
        return none, whole or Whole(original, none, *nothing)
    notes = (*notes, *_slack(panel, found.mass), *found.modes.notes)
    coarse = _coarse(hertz, found.modes.hertz, assurance(near, found.modes.shapes, found.mass))
    tones, shapes = _tones(panel, found, coarse, words)
    if any(tone.bar >= tone.frequency for tone in tones):
        notes = (
            *notes,
            "where the bar is as great as the frequency, elements of the lower order have no such vibration",
        )
    if whole is not None:
        return Vibration(_likened(tones, shapes, panel, found.shell, whole), found.modes.mass, notes), whole
    tones = tuple(replace(tone, like=i, likeness=1.0) for i, tone in enumerate(tones, 1))
    own = Vibration(tones, found.modes.mass, notes)
    return own, Whole(original, own, shapes, found.mass.moments)


# ---------------------------------------------------------------------------------------------------- the model
def _alike(a: Panel, b: Panel) -> bool:
    """Whether two states of one panel vibrate alike: strengths and bonds do not count."""
    fitted = [[fastener.fitted for fastener in panel.fasteners] for panel in (a, b)]
    return (
        fitted[0] == fitted[1]
        and a.masses == b.masses
        and a.extra_mass == b.extra_mass
        and np.array_equal(a.removed, b.removed)
        and np.array_equal(a.slack, b.slack)
        and np.array_equal(a.stiffness(), b.stiffness())
        and np.array_equal(a.mass_moments(), b.mass_moments())
    )


def _hanging(panel: Panel) -> tuple[Panel, tuple[str, ...]]:
    """The panel with the masses that have something left to hang on; those that have not, in words."""
    gone = tuple(m for m in panel.masses if not (panel.mesh.inside[m.region] & ~panel.removed).any())
    kept = tuple(m for m in panel.masses if m not in gone)
    return replace(panel, masses=kept), tuple(f"{m.name} has nothing left to hang on and is left out" for m in gone)


def _lower(panel: Panel, layouts: tuple[Layout, Layout]) -> tuple[FloatArray, FloatArray]:
    """Frequencies (m,) Hz of the lower order, and its shapes on the unknowns (n_total, m) of the higher one."""
    low = _found(panel, layouts[0], COUNT + MORE)
    high = Shell.on(layouts[1], panel.stiffness(), panel.axis)
    return low.modes.hertz, np.stack([carried(low.shell, high, shape) for shape in low.modes.shapes.T], axis=1)


def _found(panel: Panel, layout: Layout, count: int, start: FloatArray | None = None) -> _Found:
    """The lowest modes of a panel.  Raises ModelError for a part that only what carries nothing holds."""
    shell = Shell.on(layout, panel.stiffness(), panel.axis, ~panel.removed)
    supports = supported(panel, shell)[0]
    mass = Mass(shell, _moments(panel, shell))
    if (panel.slack & shell.active).any():
        _check_held(panel, shell, supports)
    return _Found(shell, supports, mass, vibration(unloaded(shell, supports), mass, count, start=start))


def _check_held(panel: Panel, shell: Shell, supports: Supports) -> None:
    """Raise ModelError if a part of the panel is free to move without what is taken to carry nothing."""
    live = ~panel.removed & ~panel.slack
    motions = RigidMotions.of(shell.layout, live)
    stiffest = float(shell.stiffness[live].max())
    springs = np.zeros((motions.motion.shape[1],) * 2)
    if supports.extra is not None:
        springs += motions.energy(supports.extra)
    if supports.fixings is not None:
        rows, k = supports.fixings
        springs += motions.energy(rows, np.minimum(k, stiffest))
    try:
        check_held(motions, supports.fixed, springs, stiffest)
    except ModelError as fault:
        raise ModelError(f"without what is taken to carry nothing, {fault.what}", where=fault.where) from fault


def _moments(panel: Panel, shell: Shell) -> FloatArray:
    """Moments of mass (ne, 3): those of the panel, with what slack areas weigh on the elements around each.

    Raises ModelError for a part that is all slack.
    """
    moments = panel_mass(panel, shell).moments
    slack = panel.slack & ~panel.removed
    if not slack.any():
        return moments
    weight = moments[:, 0] * Mass(shell, moments).area
    out = np.where(slack[:, None], 0.0, moments)
    number, piece = pieces(shell.layout, slack)
    nodes = shell.mesh.boundary
    for i in range(number):
        near = np.zeros(shell.mesh.nb, bool)
        near[nodes[piece == i]] = True
        around = near[nodes].any(axis=1) & ~slack & ~panel.removed
        if not around.any():
            raise ModelError("all of a part of the panel is taken to carry nothing", where=panel.name)
        out += spread_mass(shell, float(weight[piece == i].sum()), around)
    return out


def _slack(panel: Panel, mass: Mass) -> tuple[str, ...]:
    """What was done about areas taken to carry nothing."""
    slack = panel.slack & ~panel.removed
    if not slack.any():
        return ()
    weight = float((panel_mass(panel, mass.shell).moments[:, 0] * mass.area)[slack].sum())
    what = f"what is taken to carry nothing ({show(weight, 'g')}) moves with the skin around it"
    return (f"{what}; tones of its own are left out",)


# ------------------------------------------------------------------------------------------------- its numbers
def _coarse(low: FloatArray, high: FloatArray, assured: FloatArray) -> FloatArray:
    """What the frequencies high (n,) are in the lower order, of frequencies low (m,) Hz and with the assurances (m, n)
    of the modes; nan: it has none like it.

    Of one that is like none by itself, as one of a multiple frequency may be, the farthest that has a part in it.

    >>> assured = np.array([[0.9, 0.05, 0.0], [0.05, 0.3, 0.0], [0.0, 0.4, 0.02]])
    >>> _coarse(np.array([10.0, 15.0, 15.2]), np.array([9.9, 14.9, 30.0]), assured).tolist()
    [10.0, 15.2, nan]
    """
    partner, out = counterparts(assured), np.full(len(high), np.nan)
    for j, own in enumerate(high):
        among = [partner[j]] if partner[j] >= 0 else np.flatnonzero(assured[:, j] > PART)
        if len(among):
            out[j] = low[among][np.argmax(np.abs(low[among] - own))]
    return out


def _tones(panel: Panel, found: _Found, coarse: FloatArray, words: Words) -> tuple[tuple[Tone, ...], FloatArray]:
    """The tones of the modes that something resists, and their shapes (n_total, n)."""
    modes = found.modes
    kept = np.flatnonzero(modes.squares > 0.0)
    shapes = modes.shapes[:, kept]
    seen = Shell.on(found.shell.layout, found.shell.stiffness, panel.axis, ~panel.removed & ~panel.slack)
    lacking = np.diag(unresolved(found.shell, found.supports, shapes)) / modes.squares[kept]
    tones = []
    for i, j in enumerate(kept.tolist()):
        hertz = float(modes.hertz[j])
        # ω² lacks that share, ω half of it
        bar = measured(float(coarse[j]), hertz, layer=0.5 * float(lacking[i])).bar if coarse[j] > 0.0 else hertz
        moved = shapes[: 6 * len(panel.mesh.vertices), i].reshape(-1, 6)[:, :3]
        moved = moved / np.linalg.norm(moved, axis=1).max()
        where = words(greatest_motion(seen, shapes[:, i]).place)
        tones.append(Tone(hertz, bar, modes.share[j], where, moved))
    return tuple(tones), shapes


def _likened(tones: tuple[Tone, ...], shapes: FloatArray, panel: Panel, shell: Shell, whole: Whole) -> tuple[Tone, ...]:
    """The tones with the undamaged ones they correspond to, compared on the elements that both panels have.

    Where undamaged tones are no farther apart than their bars, any combination of them is as good: likeness is that
    with all of them.
    """
    if not whole.vibration.tones or not tones:
        return tones
    both = shell.active & ~panel.slack
    assured = assurance(whole.shapes, shapes, Mass(shell, np.where(both[:, None], whole.moments, 0.0)))
    group = _groups(whole.vibration.tones)
    together = np.minimum((group[:, None] == group) @ assured, 1.0)
    partner = counterparts((1.0 - SINGLE) * together + SINGLE * assured)
    return tuple(
        tone if i < 0 else replace(tone, like=int(i) + 1, likeness=float(together[i, j]))
        for j, (tone, i) in enumerate(zip(tones, partner, strict=True))
    )


def _groups(tones: tuple[Tone, ...]) -> IntArray:
    """The number (n,) of the group each tone is in: neighbours no farther apart than the greater of their bars, or than
    `CLOSE` if that is less.
    """
    hertz, bar = (np.array([getattr(tone, name) for tone in tones]) for name in ("frequency", "bar"))
    apart = np.diff(hertz) > np.minimum(np.maximum(bar[1:], bar[:-1]), CLOSE * hertz[1:])
    return np.append(0, np.cumsum(apart))
