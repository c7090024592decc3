"""The figure of the calibration: ranks of the true parameters, and how often claims of given odds are right."""

from __future__ import annotations

import numpy as np
from scipy import stats
from whichsun.render.style import INK, MODEL_COLOURS, RULE, new_figure, quiet_axes, save_png, styled

_BINS = 12
_STEPS = np.array([0, 0.5, 1, 1.5, 2, 3, 4.5, 7])  # edges in ln odds


def calibration_figure(rows: list[dict]) -> bytes:
    """PNG of rank histograms (outings that obey the assumptions) above the claims' reliability.

    Parameters
    ----------
    rows : list of dict
        Lines of ``calibration.py``.
    """
    from calibration import OBEYING, ranks_by_name

    obeying = [row for row in rows if row["class"] in OBEYING]
    ranks = sorted(ranks_by_name(obeying).items())
    with styled():
        figure = new_figure(1600, 1100)
        upper = figure.add_gridspec(1, max(len(ranks), 1), bottom=0.6, top=0.87, wspace=0.3)
        lower = figure.add_gridspec(1, len(OBEYING), bottom=0.09, top=0.45, wspace=0.25)
        for place, (name, values) in enumerate(ranks):
            ax = figure.add_subplot(upper[0, place])
            draw_ranks(ax, name, values)
            if place == 0:
                ax.set_ylabel("outings")
        heading = (
            "Where the true value fell among the score's own draws: flat if honest (grey: 99 % of flat ones)"
        )
        figure.text(0.5, 0.975, heading, ha="center", va="top", fontsize=12)
        for place, kind in enumerate(OBEYING):
            ax = figure.add_subplot(lower[0, place])
            draw_claims(ax, kind, [row for row in obeying if row["class"] == kind])
        return save_png(figure, 1600, 1100)


def draw_ranks(ax, name: str, values: np.ndarray) -> None:
    """Histogram of one parameter's ranks with the band that holds 99 % of flat ones."""
    model, parameter = name.split(" ", 1)
    low, high = (stats.binom.ppf(q, len(values), 1 / _BINS) for q in (0.005, 0.995))
    ax.axhspan(low, high, color=RULE, zorder=0)
    ax.hist(values, bins=np.linspace(0, 1, _BINS + 1), color=MODEL_COLOURS[model], rwidth=0.9)
    ax.set_title(f"{model}\n{parameter}, n {len(values)}", fontsize=10)
    ax.set_xlabel("rank of the truth")
    ax.set_xticks([0, 0.5, 1])
    quiet_axes(ax)


def draw_claims(ax, kind: str, rows: list[dict]) -> None:
    """Share of leaders that were the truth against the odds that were claimed for them."""
    rows = [row for row in rows if row["truth"] != "nearby-sphere"]
    factor = np.array([r["ln_evidence"]["distant-sphere"] - r["ln_evidence"]["nearby-plane"] for r in rows])
    right = (factor > 0) == np.array([row["truth"] == "distant-sphere" for row in rows])
    size = np.abs(factor)
    line = np.linspace(0, _STEPS[-1], 200)
    ax.plot(line, 100 / (1 + np.exp(-line)), color=INK, linewidth=1.2, label="as the odds say")
    for low, high in zip(_STEPS, [*_STEPS[1:-1], np.inf], strict=False):
        inside = (size >= low) & (size < high)
        if not inside.any():
            continue
        n, k = int(inside.sum()), int(right[inside].sum())
        interval = stats.binomtest(k, n).proportion_ci(0.95)
        x, y = min(float(np.mean(size[inside])), _STEPS[-1]), 100 * k / n
        error = [[y - 100 * interval.low], [100 * interval.high - y]]
        ax.errorbar(x, y, error, marker="o", color=MODEL_COLOURS["nearby-sphere"], capsize=3)
        ax.annotate(str(n), (x, y), (9, -4), textcoords="offset points", fontsize=9)
    ax.set_ylim(20, 102)
    ax.set_xlim(-0.3, _STEPS[-1] + 0.6)
    ax.set_xticks(range(8), [*map(str, range(7)), "7 +"])
    ax.set_title(f"{kind} outings: leading model right", fontsize=12)
    ax.set_xlabel("ln odds, sphere against plane (n beside)")
    ax.set_ylabel("right, %")
    ax.legend(loc="lower right", frameon=False)
    quiet_axes(ax)
