"""The command `models`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from .plumbing import print_table, report

NAME = "models"


def run(as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False) -> None:
    """List the models with their parameters, the maps for a plane and the rotation laws of the Sun."""

    def work() -> dict[str, Any]:
        from ...models.maps import SHORT_NAMES
        from ...models.registry import get_model, model_names
        from ..rotation import DEFAULT_LAW, LAWS

        models = [_model(get_model(name)) for name in model_names()]
        maps = [{"name": name, "proj": text} for name, text in SHORT_NAMES.items()]
        laws = [
            {
                "name": law.name,
                "a_deg_per_day": law.a_deg_per_day,
                "b_deg_per_day": law.b_deg_per_day,
                "c_deg_per_day": law.c_deg_per_day,
                "source": law.source,
                "default": law.name == DEFAULT_LAW,
            }
            for law in LAWS.values()
        ]
        return {"models": models, "maps": maps, "rotation_laws": laws}

    report(NAME, work, as_json=as_json, show=_show)


def _model(model: Any) -> dict[str, Any]:
    parameters = [
        {
            "name": p.name,
            "unit": p.unit,
            "default": p.default,
            "low": p.low if p.is_number else None,
            "high": p.high if p.is_number else None,
            "prior": p.prior if p.is_number else "choice",
            "choices": list(p.choices),
            "meaning": p.meaning,
            "source": p.source,
        }
        for p in model.parameters
    ]
    variants = [
        {
            "name": v.name,
            "fixed": dict(v.fixed),
            "free": list(v.free),
            "rigid": v.rigid,
            "attitude_free": v.attitude_free,
        }
        for v in model.variants
    ]
    return {"name": model.name, "summary": model.summary, "parameters": parameters, "variants": variants}


def _show(result: dict[str, Any]) -> None:
    for model in result["models"]:
        print(f"{model['name']}: {model['summary']}")
        for p in model["parameters"]:
            default = f"{p['default']:g}" if isinstance(p["default"], float) else p["default"]
            span = "" if p["low"] is None else f", {p['low']:g} to {p['high']:g} {p['unit']}, {p['prior']}"
            choices = f", one of {', '.join(p['choices'])}" if p["choices"] else ""
            print(f"  {p['name']} = {default}{span}{choices}\n      {p['meaning']}")
        print()
    print_table(("map", "PROJ"), [(m["name"], m["proj"]) for m in result["maps"]], title="Maps for a plane")
    rows = [
        (
            law["name"] + (" (default)" if law["default"] else ""),
            f"{law['a_deg_per_day']:.4f} {law['b_deg_per_day']:+.4f} s2 {law['c_deg_per_day']:+.4f} s4",
            law["source"],
        )
        for law in result["rotation_laws"]
    ]
    print_table(
        ("law", "deg/day, s = sin(latitude)", "source"), rows, title="Rotation laws of the Sun's surface"
    )
