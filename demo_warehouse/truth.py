"""Write down the planted truth and what came of it in this run, so that tests can look for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import polars as pl

from demo_warehouse.days import DAYS_A_MONTH
from demo_warehouse.set_backlash import BACKLASH_PER_DEPTH
from demo_warehouse.set_preload import BREAKAWAY_SHARE, PINION_DRAG, TORQUE_PER_UM, USED_SHARE
from demo_warehouse.simulation import Workshop
from demo_warehouse.toml_text import toml_text
from demo_warehouse.trouble import share_with_odds

KM = 1000


def lives_planted(workshop: Workshop) -> list[dict[str, Any]]:
    """Return the planted Weibull of every family, position and duty that occurs: scale in km, shape, B10, median."""
    lives = workshop.world.lives
    seen = workshop.lives.select("family", "position", "component", "duty").unique().sort("family", "position", "duty")
    rows = []
    for family, position, component, duty in seen.iter_rows():
        places = workshop.world.families[family].positions
        index = next(i for i, p in enumerate(places) if p.name == position)
        scale = float(lives.scale(family, duty)[index]) / KM
        shape = workshop.scenario.lives.component[component].shape
        rows.append(
            {
                "family": family,
                "position": position,
                "component": component,
                "duty": duty,
                "scale_km": round(scale),
                "shape": shape,
                "b10_km": round(scale * 0.105360515657826 ** (1 / shape)),
                "median_km": round(scale * 0.693147180559945 ** (1 / shape)),
            }
        )
    return rows


def lives_on_benches(workshop: Workshop) -> list[dict[str, Any]]:
    """Return the true lives from new by family and component: of every unit drawn, and of those that came in."""
    came = pl.Series("unit", sorted(workshop.world.realised.came_in), dtype=pl.String)
    new = workshop.lives.filter(pl.col("origin") == "new").with_columns(
        pl.col("unit").is_in(came.implode()).alias("came")
    )
    table = (
        new.group_by("family", "component")
        .agg(
            pl.len().alias("lives"),
            (pl.col("life_m").median() / KM).round(0).cast(pl.Int64).alias("median_km_of_all"),
            pl.col("came").sum().alias("lives_of_units_that_came_in"),
            (pl.col("life_m").filter(pl.col("came")).median() / KM)
            .round(0)
            .cast(pl.Int64)
            .alias("median_km_on_benches"),
            (pl.col("life_m").filter(pl.col("came")).quantile(0.1) / KM)
            .round(0)
            .cast(pl.Int64)
            .alias("b10_km_on_benches"),
        )
        .sort("family", "component")
    )
    return table.to_dicts()


def _comebacks(workshop: Workshop) -> dict[str, Any]:
    realised = workshop.world.realised
    on_record = set(workshop.records["job"]["job"].to_list())
    chances = [c for c in realised.chances if c["job"] in on_record]
    count = max(1, len(chances))
    return {
        "planted": asdict(workshop.scenario.comebacks),
        "jobs_delivered": len(chances),
        "expected_share": {
            key: round(sum(c[key] for c in chances) / count, 5) for key in ("all_12", "ours_12", "all_24", "ours_24")
        },
        "came_to_us": len(realised.comebacks),
        "by_outcome": dict(sorted(Counter(c["outcome"] for c in realised.comebacks).items())),
        "links": realised.comebacks,
        "links_left_out": realised.hidden_links,
        "elsewhere": realised.elsewhere,
    }


def _bad_lot(workshop: Workshop) -> dict[str, Any]:
    planted, realised = workshop.scenario.planted.bad_lot, workshop.world.realised
    ordinary = workshop.scenario.comebacks.part["synchroniser_ring"]
    comebacks = {c["original_job"] for c in realised.comebacks if c["outcome"] == "part"}
    jobs = list(dict.fromkeys(b["job"] for b in realised.bad_lot))
    return {
        **asdict(planted),
        "lot": realised.bad_lot[0]["lot"] if realised.bad_lot else None,
        "share_within_24_months": ordinary,
        "share_within_24_months_of_the_lot": round(share_with_odds(ordinary, planted.odds_ratio), 5),
        "fitted": len(realised.bad_lot),
        "jobs": jobs,
        "jobs_that_came_back_for_a_part": [job for job in jobs if job in comebacks],
        "positions": realised.bad_lot,
    }


def _technicians(workshop: Workshop) -> list[dict[str, Any]]:
    jobs = workshop.records["job"]
    technician = dict(zip(jobs["job"], jobs["technician"], strict=True))
    realised = workshop.world.realised
    back = Counter(technician[c["original_job"]] for c in realised.comebacks if c["original_job"] in technician)
    done = Counter(jobs["technician"].to_list())
    return [
        {"code": t.code, "jobs": done[t.code], "comebacks": back[t.code], "hazard_factor": 1.0}
        for t in workshop.scenario.technicians
    ]


def _setting(workshop: Workshop) -> dict[str, Any]:
    realised = workshop.world.realised
    planted = workshop.scenario.planted
    return {
        "scatter": asdict(workshop.scenario.setting),
        "gauges": asdict(workshop.scenario.gauges),
        "technician_bias_um": {k: round(v, 2) for k, v in workshop.world.gauges.technician_bias.items()},
        "gauge_drift": {**asdict(planted.gauge_drift), "jobs": realised.drift_jobs},
        "bearing_make": asdict(planted.bearing_make),
        "torque_mnm_per_um": {"new": TORQUE_PER_UM, "used_share": USED_SHARE, "drag_mnm": PINION_DRAG},
        "breakaway_share": BREAKAWAY_SHARE,
        "backlash_per_depth": BACKLASH_PER_DEPTH,
        "depth_jobs": realised.settings,
    }


def planted_truth(workshop: Workshop, defects: dict[str, Any]) -> dict[str, Any]:
    """Return everything that was planted and what was realised, as plain tables."""
    planted, realised = workshop.scenario.planted, workshop.world.realised
    jobs = workshop.records["job"]
    below = [b for b in realised.below_cost if b["job"] in set(jobs["job"])]
    return {
        "scenario": workshop.scenario.name,
        "seed": workshop.seed,
        "start": workshop.scenario.start,
        "end": workshop.scenario.end,
        "counts": {name: frame.height for name, frame in workshop.records.items()},
        "lives": {
            "silent_share": workshop.scenario.lives.silent_share,
            "silent_lag": workshop.scenario.lives.silent_lag,
            "maker_life": asdict(planted.maker_life),
            "on_roads": lives_planted(workshop),
            "on_benches": lives_on_benches(workshop),
        },
        "comebacks": _comebacks(workshop),
        "bad_lot": _bad_lot(workshop),
        "slider_reused": {**asdict(planted.slider_reused), "jobs": realised.slider_jobs},
        "setting": _setting(workshop),
        "technicians": _technicians(workshop),
        "part_trends": {"up": asdict(planted.part_up), "down": asdict(planted.part_down)},
        "price_rise": asdict(planted.price_rise),
        "below_cost": {
            **asdict(planted.below_cost),
            "jobs": len(below),
            "cost": round(sum(b["cost"] for b in below), 2),
            "price": round(sum(b["price"] for b in below), 2),
        },
        "follow_up": {
            "owners_followed": workshop.scenario.private.followed,
            "returns_in_warranty": workshop.scenario.private.returns_in_warranty,
            "returns_after_warranty": workshop.scenario.private.returns_after_warranty,
            "visit_delay_days": workshop.scenario.usage.visit_delay_days,
            "days_a_month": DAYS_A_MONTH,
        },
        "defects": defects,
    }


def _named(value: Any) -> Any:
    """Return tables with the names they have in the scenario file (a day `from_` is written `from`)."""
    if isinstance(value, Mapping):
        return {key.rstrip("_"): _named(below) for key, below in value.items()}
    return [_named(below) for below in value] if isinstance(value, list | tuple) else value


def write_truth(truth: dict[str, Any], path: Path) -> None:
    """Write the truth as TOML; the loader passes such a file over, and `tomllib` reads it."""
    path.write_text(toml_text(_named(truth)), encoding="utf-8")
