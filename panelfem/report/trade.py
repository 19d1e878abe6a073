"""What a search for the smallest sufficient repair found: the trade of mass against factor, and in words."""

from __future__ import annotations

import json
from collections.abc import Iterator

from panelfem.assess.smallest import SIZINGS, SPARE, Candidate, Search, Verified
from panelfem.report.json_out import number as plain
from panelfem.report.pictures import INK, PAPER, RULE, TEXT, WIDE, canvas, png
from panelfem.units import number

FORMAT = "panelfem-smallest/2"
_MARKS, _LINES = "osD^vP*X", ("-", "--", ":", "-.")


def sentences(found: Search) -> Iterator[str]:
    """What to lay up, in words; or that nothing suffices."""
    if found.lightest is None or found.quickest is None:
        best = found.best
        yield (
            f"No {found.kind} of {found.material} that was looked at is sufficient: the best, {best.words}, reaches "
            f"{number(best.factor, 3)} times what is asked for by linear theory ({best.governs})."
        )
    else:
        yield f"Lightest sufficient: {_said(found.lightest)}."
        if found.quickest.candidate != found.lightest.candidate:
            yield f"Quickest sufficient: {_said(found.quickest)}."
        else:
            yield "It is the quickest as well."
    for v in found.verified:
        if not v.sufficient:
            yield f"In full, {v.candidate.words}: {v.outcome.value}. {v.reason}"
    if aside := found.set_aside:
        yield (
            f"{'Lighter or quicker' if found.lightest else 'Enough'} by the look but not assessed in full, since at "
            f"{SPARE:g} times the greatest severity they leave linear theory where the undamaged panel does not: "
            f"{'; '.join(f'{c.words} ({c.leaves})' for c in aside)}."
        )
    for why in found.left_out:
        yield f"Not looked at: {why}."


def _said(v: Verified) -> str:
    c = v.candidate
    return (
        f"{c.words}, {number(1e3 * c.added, 3)} g more than as found, {number(c.minutes, 3)} min, "
        f"{number(v.factor, 3)} times what is asked for; {v.outcome.value}"
    )


def rows(found: Search) -> list[tuple[str, ...]]:
    """Every look, lightest first, as cells: repair, mass, minutes, factor, assessed in full, what governs."""
    full = {v.candidate: v for v in found.verified}
    return [
        (
            c.words,
            f"{number(1e3 * c.added, 3)} g",
            f"{number(c.minutes, 3)} min",
            number(c.factor, 3),
            f"{number(full[c].factor, 3)}, {full[c].outcome.value}" if c in full else "",
            f"{c.governs}; leaves linear theory" if c.leaves else c.governs,
        )
        for c in found.looks
    ]


def document(found: Search) -> str:
    """All of it as JSON."""

    def candidate(c: Candidate) -> dict[str, object]:
        return {
            SIZINGS[c.kind].key: plain(c.reach),
            "stack": c.stack,
            "plies": c.plies,
            "added_g": plain(1e3 * c.added),
            "minutes_min": plain(c.minutes),
            "factor_over_asked": plain(c.factor),
            "governs": c.governs,
            "leaves_linear_theory": c.leaves,
        }

    def full(v: Verified | None) -> dict[str, object] | None:
        if v is None:
            return None
        return {
            **candidate(v.candidate),
            "name": v.name,
            "full_factor_over_asked": plain(v.factor),
            "outcome": v.outcome.value,
        }

    data = {
        "format": FORMAT,
        "option": found.option,
        "kind": found.kind,
        "material": found.material,
        "lightest": full(found.lightest),
        "quickest": full(found.quickest),
        "verified": [full(v) for v in found.verified],
        "looks": [candidate(c) for c in found.looks],
        "left_out": list(found.left_out),
    }
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def picture(found: Search) -> bytes:
    """Mass added against factor over what is asked, as PNG: a line a family, a mark a size."""
    figure = canvas(WIDE, 3.9)
    axes = figure.add_subplot()
    sizes = sorted({c.reach for c in found.looks})
    turnings = list(dict.fromkeys(c.turning for c in found.looks))
    for turning in turnings:
        for size in sizes:
            family = [c for c in found.looks if (c.turning, c.reach) == (turning, size)]
            if not family:
                continue
            axes.plot(
                [1e3 * c.added for c in family],
                [c.factor for c in family],
                color=INK,
                linewidth=0.9,
                linestyle=_LINES[turnings.index(turning) % len(_LINES)],
                marker=_MARKS[sizes.index(size) % len(_MARKS)],
                markersize=5,
                markerfacecolor=PAPER,
            )
    axes.axhline(1.0, color=INK, linewidth=1.8)
    axes.annotate("asked for", (0.0, 1.0), xycoords=("axes fraction", "data"), fontsize=TEXT, va="bottom")
    for v in found.verified:
        x = 1e3 * v.candidate.added
        axes.plot([x, x], [v.candidate.factor, v.factor], color=RULE, linewidth=0.8)
        axes.plot(x, v.factor, marker="o" if v.sufficient else "x", markersize=11, markeredgewidth=2.0, color=INK,
                  fillstyle="none", linestyle="none")  # fmt: skip
    for i, turning in enumerate(turnings):
        words = f"turned {'/'.join(map(str, turning))}°" if turning else "like the old plies"
        axes.plot([], [], color=INK, linestyle=_LINES[i % len(_LINES)], label=words)
    for i, size in enumerate(sizes):
        axes.plot([], [], color=INK, marker=_MARKS[i % len(_MARKS)], markerfacecolor=PAPER, linestyle="none",
                  label=SIZINGS[found.kind].size.format(size))  # fmt: skip
    axes.plot(
        [], [], color=INK, marker="o", markersize=11, fillstyle="none", linestyle="none", label="assessed in full"
    )
    axes.set_xlabel("mass added to the panel as found (g)", fontsize=TEXT)
    axes.set_ylabel("factor over what is asked for", fontsize=TEXT)
    axes.tick_params(labelsize=TEXT, colors=INK)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    figure.legend(loc="outside lower center", ncols=2, fontsize=TEXT - 1, frameon=False)
    return png(figure)
