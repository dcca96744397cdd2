"""Rows that sets of an earlier format hold and that nothing reads any more: dropped with a note, so that they load.

A row is known by its table and its key. It stands here with the reason, for good: sets that people kept stay usable.
"""

from __future__ import annotations

from collections.abc import Sequence

from faultnet.prior_set.tables import Row

_CELLS = "the resistance of a battery is one part in the model, with its spread in effects.csv"
_GROUND = "ground strap and cable are one part in the model, ground_path in effects.csv"
_SLOW = "slow is by what this engine does in this weather when all is well: slow_share"
_DIP = "the shape of a start is that of ISO 16750-2, in physics/waveform.py"
_AWAKE = "a module that stays awake is a fault mode of its own"
_SELF = "self-discharge by kind of battery stands in physics/charge.py"
_REACHES = "a charger fills by what the battery accepts: charge_kept_without_acceptance and charge_short_of_full"
_UNKNOWN = "the state of charge follows from use, charging and parasitic draw"

RETIRED: dict[tuple[str, ...], str] = {
    ("spreads", "slip_default"): "every instrument states its own chance of a slip",
    ("spreads", "surface_charge_time_fast"): "the decay of surface charge stands in physics/charge.py",
    ("spreads", "surface_charge_time_slow"): "the decay of surface charge stands in physics/charge.py",
    ("spreads", "depressed_after_cranking"): "the model does not follow the minutes after a start",
    ("spreads", "rating_label_spread"): _CELLS,
    ("spreads", "ground_cable_length_mean"): _GROUND,
    ("spreads", "ground_cable_length_spread"): _GROUND,
    ("spreads", "ground_cable_area_petrol"): _GROUND,
    ("spreads", "ground_cable_area_diesel"): _GROUND,
    ("spreads", "compression_ripple_median"): "the ripple follows from current and resistance, physics/cranking.py",
    ("spreads", "dip_fall"): _DIP,
    ("spreads", "dip_hold"): _DIP,
    ("spreads", "dip_rise"): _DIP,
    ("spreads", "polarisation_time"): "8 s, derived from EN 50342-1 and SAE J537, stands in physics/resistance.py",
    ("spreads", "start_time"): "the model asks for the lowest volts of a start, not for its length",
    ("spreads", "module_offset_compared_spread"): "after a comparison the errors of both instruments count",
    ("spreads", "module_crank_resistance"): "the module is fed from the cable clamps, whose loss the model knows",
    ("spreads", "key_off_wait"): "the steps of the test say how long to wait",
    ("spreads", "key_off_awake_chance"): _AWAKE,
    ("spreads", "key_off_awake_current"): _AWAKE,
    ("spreads", "key_off_awake_ln_spread"): _AWAKE,
    ("spreads", "self_discharge_calcium_factor"): _SELF,
    ("spreads", "self_discharge_agm_factor"): _SELF,
    ("spreads", "charger_reaches_mean"): _REACHES,
    ("spreads", "charger_reaches_spread"): _REACHES,
    ("spreads", "charger_reaches_poor"): _REACHES,
    ("spreads", "set_point_slope"): "the slope of the set point stands in physics/charging.py",
    ("spreads", "charge_resistance_factor"): "resistance on charge stands in physics/charging.py",
    ("spreads", "charge_ground_share"): "the whole charging current crosses the engine's strap",
    ("spreads", "ripple_battery_weak_factor"): "the battery's damping is within the spread of the ripple",
    ("spreads", "two_load_step"): "volts over amperes do not depend on the step",
    ("spreads", "charge_unknown_mean"): _UNKNOWN,
    ("spreads", "charge_unknown_spread"): _UNKNOWN,
    ("spreads", "brought_in_when_faulty"): "only its ratio to brought_in_when_sound would matter",
    ("spreads", "symptom_prior_strength"): "`faultnet tune --strength` says how much the counts weigh",
    ("spreads", "slow_speed"): _SLOW,
    ("spreads", "slow_speed_width"): _SLOW,
    ("spreads", "value_stays_in_visit"): "readings of one visit count together until what they were taken of changes",
    **{
        ("spreads", f"surface_unknown_{much}"): "it follows from days_standing of ordinary use, and from its decay"
        for much in ("none", "little", "some", "much")
    },
    ("effects", "battery", "conductance_factor"): "a conductance tester sees resistance_factor to the power -0.95",
}
KEYS: dict[str, tuple[str, ...]] = {
    "spreads": ("name",),
    "effects": ("component", "parameter"),
    "costs": ("kind", "name"),
}


def without_retired(table: str, rows: Sequence[Row]) -> tuple[list[Row], list[str]]:
    """Take the retired rows out of a table.

    Parameters
    ----------
    table : {"spreads", "effects", "costs"}
    rows : sequence of Row

    Returns
    -------
    rows : list of Row
    notes : list of str
        One for each retired key, with the reason.

    Examples
    --------
    >>> without_retired("spreads", [Row("spreads.csv, line 2", {"name": "start_time"})])[0]
    []
    """
    kept: list[Row] = []
    notes: dict[str, None] = {}
    for row in rows:
        key = tuple(str(row.cells.get(k)) for k in KEYS[table])
        reason = RETIRED.get((table, *key))
        if reason is None:
            kept.append(row)
        else:
            notes[f"{table}.csv: {':'.join(key)} is not used any more and was left out; {reason}"] = None
    return kept, list(notes)
