"""The height and diameter of a nearby Sun that the photos would need, for every map and face rule, losers too."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array, GeometryModel, view_of
from ...models.maps import SHORT_NAMES
from ..outing import Shot
from .bestfit import best_fit
from .contest import ModelScore, Options, VariantScore, joined, variants_of
from .data import OutingData
from .evidence import integrate
from .latitude import weighted_quantiles
from .problem import problem_of

HEIGHT, DIAMETER = "height_km", "diameter_km"
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Needed:
    """What one map and face rule would need.

    Attributes
    ----------
    model, map, face : str
    height_km : float or None
        Of the highest posterior density (prior uniform in the logarithm); None where the map cannot be used.
    height_low95_km, height_high95_km : float or None
        Central 95 % of the probability.
    at_bound : bool
        The height lies at an end of the range that was searched: it is no measurement.
    diameter_km, diameter_low95_km, diameter_high95_km : float or None
        For the angular size that focal length and pixel pitch give; without them None.
    matched, spots : int or None
        Spots found again where the rule puts them, and spots in the photos.
    chi2 : float or None
    dof : int or None
    p_value : float or None
        Of the model's best variant, where it was worked out.
    ln_evidence : float or None
    note : str
        Why there is no number.
    """

    model: str
    map: str
    face: str
    height_km: float | None = None
    height_low95_km: float | None = None
    height_high95_km: float | None = None
    at_bound: bool = False
    diameter_km: float | None = None
    diameter_low95_km: float | None = None
    diameter_high95_km: float | None = None
    matched: int | None = None
    spots: int | None = None
    chi2: float | None = None
    dof: int | None = None
    p_value: float | None = None
    ln_evidence: float | None = None
    note: str = ""

    def to_json(self) -> dict[str, Any]:
        """Keys of the machine-readable output."""
        return asdict(self)


def angular_radius(shot: Shot) -> float | None:
    """Half the Sun's angular diameter in a photo, radians, from focal length, pixel pitch and the limb's size.

    Across the vertical, where the air does not squash the disc; None where the photo does not tell. As good as the
    stated focal length (of a zoom lens often 2 or 3 %).
    """
    if shot.semi_axes_px is None or not shot.focal_length_mm or not shot.pixel_pitch_um:
        return None
    return float(np.arctan(shot.semi_axes_px[0] * shot.pixel_pitch_um / 1000 / shot.focal_length_mm))


def needed_rows(scores: Sequence[ModelScore], shots: Sequence[Shot]) -> list[Needed]:
    """One row for every map and face rule of every model with a free height, its better variant first."""
    rows = []
    for score in scores:
        best: dict[tuple[str, str], VariantScore] = {}
        for variant in score.variants:
            if variant.problem is None or HEIGHT not in [axis.name for axis in variant.problem.axes]:
                continue
            key = (str(variant.variant.fixed.get("map", "")), str(variant.variant.fixed.get("face", "")))
            if key not in best or variant.ln_evidence > best[key].ln_evidence:
                best[key] = variant
        rows += [_row(variant, *key, shots) for key, variant in best.items()]
    return rows


def _row(variant: VariantScore, chart: str, face: str, shots: Sequence[Shot]) -> Needed:
    problem, evidence = variant.problem, variant.evidence
    assert problem is not None
    assert evidence is not None
    fit = variant.fit or best_fit(problem, evidence)
    index = [axis.name for axis in problem.axes].index(HEIGHT)
    axis = problem.axes[index]
    values = problem.values(evidence.u, evidence.eta)
    height = values[HEIGHT][:, 0]
    if index == 0:  # the scan's own table holds peak and interval together, also where few draws carry it
        cells = evidence.cells
        top = int(np.argmax(cells.ln_like))
        mass = np.exp(cells.ln_like - cells.ln_like[top]) * (cells.high - cells.low)
        whole = np.concatenate([[0.0], np.cumsum(mass)]) / mass.sum()
        ends = np.interp((0.025, 0.975), whole, np.append(cells.low, cells.high[-1]))
        low, high = (float(end) for end in axis.value(ends))
        peak = float(np.clip(axis.value(cells.middle[top]), low, high))
        at_bound = top in (0, len(cells.middle) - 1)
    else:
        low, high = weighted_quantiles(height, evidence.weight, (0.025, 0.975))
        peak, at_bound = fit.values[HEIGHT], False
    sizes = _diameters(variant, shots)
    diameter: list[float | None] = [None, None, None]
    if DIAMETER in values:
        size = values[DIAMETER][:, 0]
        small, middle, large = weighted_quantiles(size, evidence.weight, (0.025, 0.5, 0.975))
        diameter = [middle, small, large]
    elif sizes is not None:
        small, large = weighted_quantiles(sizes, evidence.weight, (0.025, 0.975))
        diameter = [float(np.interp(peak, *_sorted(height, sizes))), small, large]
    return Needed(
        variant.model,
        chart,
        face,
        peak,
        low,
        high,
        at_bound,
        *diameter,
        matched=int(np.isfinite(fit.predicted[:, 0]).sum()),
        spots=len(fit.predicted),
        chi2=fit.chi2,
        dof=fit.dof,
        p_value=variant.p_value,
        ln_evidence=variant.ln_evidence,
    )


def _sorted(x: Array, y: Array) -> tuple[Array, Array]:
    order = np.argsort(x)
    return x[order], y[order]


def _diameters(variant: VariantScore, shots: Sequence[Shot]) -> Array | None:
    """Diameter (n,) at every draw that gives the measured angular size, mean over the photos that tell it."""
    problem, evidence = variant.problem, variant.evidence
    assert problem is not None
    assert evidence is not None
    radii = [angular_radius(shot) for shot in shots]
    if len(radii) != problem.data.n_shots or all(radius is None for radius in radii):
        return None
    view = problem.view(problem.data.instants, problem.values(evidence.u, evidence.eta))
    distance_km = np.broadcast_to(view.distance * view.sun_radius_km, (len(evidence.u), problem.data.n_shots))
    known = [k for k, radius in enumerate(radii) if radius is not None]
    sines = np.sin(np.array([radii[k] for k in known], dtype=float))
    return (2 * distance_km[:, known] * sines).mean(1)


def needed_on_maps(
    model: GeometryModel,
    data: OutingData,
    shots: Sequence[Shot],
    options: Options,
    maps: Sequence[str] = tuple(SHORT_NAMES),
    progress: Progress = lambda done, of, words: None,
) -> list[Needed]:
    """The rows of :func:`needed_rows` for a model with a map and a height, on each of several maps.

    A map that does not hold the site or the Sun's place gets a row with a note instead.
    """
    given = {k: v for k, v in options.given.items() if k not in ("map", HEIGHT)}
    rows = []
    for done, chart in enumerate(maps):
        progress(done, len(maps), f"needed height on the map {chart}")
        chosen = [
            v for v in variants_of(model, replace(options, maps=(chart,), given=given)) if not v.attitude_free
        ]
        try:
            view = view_of(model, data.instants, data.site, {"map": chart})
            if not np.all(np.isfinite(view.direction)):
                raise InputError("map", "must hold the place under the Sun", chart)
        except InputError as error:
            rows.append(Needed(model.name, chart, "", note=str(error)))
            continue
        variants = []
        for variant in chosen:
            problem = problem_of(model, variant, data, options.law, given)
            evidence = integrate(problem, np.random.default_rng([options.seed, done]))
            variants.append(
                VariantScore(
                    model.name, variant, evidence.ln_evidence, evidence.error, 1.0, (), problem, evidence
                )
            )
        rows += needed_rows([joined(model, tuple(variants))], shots)
    progress(len(maps), len(maps), "done")
    return rows
