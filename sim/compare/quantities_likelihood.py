"""The likelihood of measured quantities: Student's t (4) about the prediction and a small uniform share.

The uniform share lets a blunder, or an event that a model does not know (the set of a Sun that never sets), cost
finitely: ln(share / range), the same for every model.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ...models.geometry import Array
from .numeric import ln_sum, ln_t4, wrap_degrees
from .quantities import BLUNDER, Quantity, times_shown
from .quantities_predict import ROUGH_POINTS, Forecast, forecast

if TYPE_CHECKING:
    from .problem import Problem

_STEPS = {"clock": 20.0, "refraction": 0.02, "latitude": 0.01, "longitude": 0.01}
_EXTRA_STEP = 1e-4
_TRIED = 7


def ln_densities(quantities: tuple[Quantity, ...], found: Forecast, value: Array | None = None) -> Array:
    """ln density (b, q) of the measured values, or of `value` (b, q), in the quantities' own units."""
    out = np.empty(found.value.shape)
    for i, one in enumerate(quantities):
        measured = np.asarray(one.value if value is None else value[:, i])
        if i in found.clouds:
            turns, share = found.clouds[i]
            gap = np.atleast_1d(measured)[:, None] - turns
            with np.errstate(divide="ignore"):
                core = ln_sum(_core(one, gap) + np.log(share), axis=1)
        else:
            core = _core(one, measured - found.value[:, i])
        out[:, i] = _with_blunders(one, core)
    return out


def _core(one: Quantity, gap: Array) -> Array:
    """ln density without blunders at measured less predicted; -inf where nothing is predicted."""
    known = np.isfinite(gap)
    gap = np.abs(np.where(known, wrap_degrees(gap) if one.circular else gap, 0.0))
    core = ln_t4(gap / one.sigma)
    if (
        one.circular
    ):  # the way round the other side counts too; a third would add less than a part in a thousand
        core = np.logaddexp(core, ln_t4((360 - gap) / one.sigma))
    return np.where(known, core - np.log(one.sigma), -np.inf)


def _with_blunders(one: Quantity, core: Array) -> Array:
    floor = np.log(BLUNDER / one.span)
    return np.logaddexp(core + np.log(1 - BLUNDER), floor)


def ln_floor(quantities: tuple[Quantity, ...]) -> float:
    """ln density of all quantities if all were blunders."""
    return float(sum(np.log(BLUNDER / one.span) for one in quantities))


def ln_uniform(quantities: tuple[Quantity, ...]) -> float:
    """ln density of all quantities if they could be anything."""
    return float(sum(-np.log(one.span) for one in quantities))


class Pull(NamedTuple):
    """How quantities pull on the nuisances near a state: residuals, slopes, scales.

    Attributes
    ----------
    gap : ndarray, shape (m, q)
        Measured less predicted; nan without a prediction.
    slope : ndarray, shape (m, q, k)
        Of the prediction by every nuisance.
    sigma : ndarray, shape (m, q)
        With the spread over an unknown spot's places.
    """

    gap: Array
    slope: Array
    sigma: Array

    def __getitem__(self, rows: np.ndarray) -> Pull:  # type: ignore[override]
        """The same for some rows."""
        return Pull(self.gap[rows], self.slope[rows], self.sigma[rows])

    def moved(self, step: Array) -> Pull:
        """The same after nuisances moved by `step` (m, k), to first order."""
        return self._replace(gap=self.gap - np.einsum("mqk,mk->mq", self.slope, step))

    def equations(
        self, quantities: tuple[Quantity, ...], *, robust: bool = True
    ) -> tuple[Array, Array, Array]:
        """Gradient (m, k), precision (m, k, k) and ln density (m,); without `robust` as if errors were normal."""
        circular = np.array([one.circular for one in quantities])
        gap = np.where(circular, wrap_degrees(self.gap), self.gap)
        known = np.isfinite(gap)
        ratio = np.where(known, gap / self.sigma, 0.0)
        floor = np.log([BLUNDER / one.span for one in quantities])
        core = np.where(known, ln_t4(ratio) - np.log(self.sigma) + np.log(1 - BLUNDER), -np.inf)
        whole = np.logaddexp(core, floor)
        weight = known * 1.0
        if robust:
            weight = np.exp(core - whole) * 1.25 / (1 + ratio**2 / 4)
        scaled = np.where(known[..., None], self.slope, 0.0) / self.sigma[..., None]
        gradient = np.einsum("mq,mqk->mk", weight * ratio, scaled)
        precision = np.einsum("mq,mqk,mql->mkl", weight, scaled, scaled)
        return gradient, precision, whole.sum(1)


def _roughly(problem: Problem, u: Array, eta: Array) -> Forecast:
    return forecast(problem, u, eta, ROUGH_POINTS)


def pull_at(problem: Problem, u: Array, eta: Array) -> Pull:
    """Residuals and slopes of the problem's quantities at scan places u (m,) and nuisances eta (m, k)."""
    quantities = problem.data.quantities
    here = _roughly(problem, u, eta)
    sigma = np.hypot(np.array([one.sigma for one in quantities]), here.spread)
    gap = np.array([one.value for one in quantities]) - here.value
    slope = np.zeros((*gap.shape, eta.shape[1]))
    circular = np.array([one.circular for one in quantities])
    for column in problem.nuisances.moving:
        step = _STEPS.get(problem.nuisances.name_of(column), _EXTRA_STEP)
        ahead, behind = eta.copy(), eta.copy()
        ahead[:, column] += step
        behind[:, column] -= step
        change = _roughly(problem, u, ahead).value - _roughly(problem, u, behind).value
        change = np.where(circular, wrap_degrees(change), change)
        slope[..., column] = np.where(np.isfinite(change), change / (2 * step), 0.0)
    return Pull(gap, slope, sigma)


def touched(problem: Problem) -> tuple[int, ...]:
    """Places of the nuisances on which the quantities depend: all that they share, and further parameters that move
    a prediction anywhere."""
    nuisances = problem.nuisances
    places = [place for place in nuisances.moving if place < nuisances.first_extra]
    middle = np.where(nuisances.uniform & ~nuisances.periodic, (nuisances.low + nuisances.high) / 2, 0.0)
    for place in range(nuisances.first_extra, len(nuisances.sigma)):
        eta = np.tile(middle, (_TRIED, _TRIED, 1))
        eta[..., place] = np.linspace(nuisances.low[place], nuisances.high[place], _TRIED)
        u = np.repeat((np.arange(_TRIED) + 0.5) / _TRIED, _TRIED)
        found = _roughly(problem, u, eta.reshape(len(u), -1)).value.reshape(_TRIED, _TRIED, -1)
        seen = np.where(np.isfinite(found), found, 1e9)
        if np.any(np.abs(seen - seen[:, :1]) > 1e-9):
            places.append(place)
    return tuple(places)


def path_length(problem: Problem, u: Array, eta: Array) -> Array:
    """How many sigma the predictions move from each of a row of states to the next, (m - 1,).

    Where there are further parameters, the most at any of a few values of theirs.
    """
    nuisances = problem.nuisances
    first = nuisances.first_extra
    if first == len(nuisances.sigma):
        return _path_length(problem, u, eta)
    longest = np.zeros(len(u) - 1)
    for share in (np.arange(_TRIED) + 0.5) / _TRIED:
        there = eta.copy()
        there[:, first:] = nuisances.low[first:] + share * (nuisances.high - nuisances.low)[first:]
        longest = np.maximum(longest, _path_length(problem, u, there))
    return longest


def _path_length(problem: Problem, u: Array, eta: Array) -> Array:
    quantities = problem.data.quantities
    found = _roughly(problem, u, eta)
    change = np.diff(found.value, axis=0)
    circular = np.array([one.circular for one in quantities])
    change = np.where(circular, wrap_degrees(change), change)
    sigma = np.hypot(np.array([one.sigma for one in quantities]), found.spread[1:])
    appears = np.diff(np.isfinite(found.value).astype(float), axis=0) != 0
    return np.where(np.isfinite(change), np.abs(change) / sigma, 10.0 * appears).sum(1)


def angles_move(problem: Problem, u: Array, eta: Array) -> bool:
    """Whether a predicted angle of the Sun's face goes through more than a degree along a row of states."""
    turning = [i for i, one in enumerate(problem.data.quantities) if one.of_attitude]
    if not turning:
        return False
    change = np.abs(wrap_degrees(np.diff(_roughly(problem, u, eta).value[:, turning], axis=0)))
    return bool(np.nansum(change) > 1.0)


def replicate(problem: Problem, u: Array, eta: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """ln density of the measured quantities and of ones made up under the model, (b,) each.

    Made-up values have Student's t errors and no blunders. Where the model has no such event nothing is made up: it
    counts as foreseen.
    """
    quantities = problem.data.quantities
    found = forecast(problem, u, eta)
    made = np.empty(found.value.shape)
    for i, one in enumerate(quantities):
        middle = found.value[:, i]
        if i in found.clouds:
            turns, share = found.clouds[i]
            total = np.cumsum(share, axis=1)
            pick = (rng.random((len(total), 1)) * total[:, -1:] > total).sum(1)
            chosen = turns[np.arange(len(turns)), np.minimum(pick, turns.shape[1] - 1)]
            middle = np.where(total[:, -1] > 0, chosen, np.nan)
        made[:, i] = middle + one.sigma * rng.standard_t(4, len(u))
    drawn = ln_densities(quantities, found, made)
    foreseen = np.array(
        [ln_t4(np.zeros(1))[0] - np.log(one.sigma) + np.log(1 - BLUNDER) for one in quantities]
    )
    drawn = np.where(np.isfinite(made), drawn, foreseen)
    return ln_densities(quantities, found).sum(1), drawn.sum(1)


class QuantityResidual(NamedTuple):
    """A quantity at a best fit, in the units of the outing file; a rise or set in seconds after the measured one."""

    one: Quantity
    predicted: float
    z: float

    def to_json(self) -> dict:
        """Keys of the machine-readable output, beside those of spots; None where no such event is foreseen."""
        return {
            **dict.fromkeys(("shot", "id", "dx", "dy", "zx", "zy")),
            "kind": self.one.kind,
            "turn_kind": self.one.given.turn_kind,
            "time_utc": times_shown(self.one),
            "measured": self.one.shown(self.one.value),
            "predicted": self.one.shown(self.predicted) if np.isfinite(self.z) else None,
            "z": self.z if np.isfinite(self.z) else None,
        }


def residuals_at(problem: Problem, u: Array, eta: Array) -> tuple[QuantityResidual, ...]:
    """Standardised residuals (measured less predicted) at one state, u (1,) and eta (1, k)."""
    found = forecast(problem, u, eta)
    out = []
    for i, one in enumerate(problem.data.quantities):
        gap = one.value - found.value[0, i]
        gap = wrap_degrees(gap) if one.circular else gap
        sigma = np.hypot(one.sigma, found.spread[0, i])
        predicted = one.value - gap if one.circular else found.value[0, i]
        out.append(QuantityResidual(one, float(predicted), float(gap / sigma)))
    return tuple(out)
