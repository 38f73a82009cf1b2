"""Compiled ground of one field: hours of soil water, tiers, and observations of the ground."""

from __future__ import annotations

import math

from numba import njit

from readiness.season.codes import Tier
from readiness.season.kernel_layout import (
    KIND_TIER,
    Code,
    FieldFact,
    GroundState,
    Hourly,
    Observed,
    Value,
)
from readiness.season.uncertainty import (
    CHECK_SD,
    GROUND_WAIT,
    MAX_GAP,
    WATER_MEMORY,
    WATER_SD,
    correction,
)
from readiness.soil import layers
from readiness.soil.land import SoilFact
from readiness.soil.layers import BELOW
from readiness.soil.water_balance import KCB_RIPE, frozen, water_step

SOFT, HEADLAND_ONLY, FIRM, UNKNOWN = (int(tier) for tier in Tier)
#: Basal crop coefficient before the late stage, and hours of its fall until maturity (FAO-56 Tables
#: 11 and 17: mid 1.10, end 0.15, late stage 30 days).
KCB_GREEN, KCB_FALL = 1.10, 720.0

top_water = njit(nogil=True, error_model="numpy")(layers.top_water)


@njit(nogil=True, error_model="numpy")
def tier_of(top, below, is_frozen, facts):  # type: ignore[no-untyped-def]
    """Tier of a field's ground; frozen ground bears everything."""
    if is_frozen or (top <= facts[FieldFact.FIRM_TOP] and below <= facts[FieldFact.FIRM_BELOW]):
        return FIRM
    if top <= facts[FieldFact.HEADLAND_TOP] and below <= facts[FieldFact.HEADLAND_BELOW]:
        return HEADLAND_ONLY
    return SOFT


@njit(nogil=True, error_model="numpy")
def water_of_check(top, below, tier, facts):  # type: ignore[no-untyped-def]
    """Water (top, below) in accordance with a ground check: the model's own where they agree.

    `top` is the wetter of 0-5 and 5-15 cm.
    """
    firm_top, firm_below = facts[FieldFact.FIRM_TOP], facts[FieldFact.FIRM_BELOW]
    headland_top, headland_below = facts[FieldFact.HEADLAND_TOP], facts[FieldFact.HEADLAND_BELOW]
    half = 0.5 * (headland_top - firm_top)
    if tier >= FIRM:
        return min(top, firm_top - half), min(below, firm_below - half)
    if tier < HEADLAND_ONLY:
        if top > headland_top or below > headland_below:
            return top, below
        return headland_top + half, below
    below = min(below, headland_below)
    if below > firm_below:
        return min(top, headland_top), below
    if top <= firm_top:
        return firm_top + half, below
    return min(top, headland_top - 0.1 * half), below


@njit(nogil=True, error_model="numpy")
def observe_ground(water, state, facts, soil, observed, noise):  # type: ignore[no-untyped-def]
    """Correct a ground state by a ground check or by water of 0-15 cm; return the surprise."""
    top, before = top_water(water[0], water[1]), state[GroundState.VARIANCE]
    target, below, sd = observed[Observed.VALUE] + noise, water[BELOW], observed[Observed.SD]
    seen = observed[Observed.KIND] == KIND_TIER
    if seen:
        top = max(water[0], water[1])
        sd = max(sd * (facts[FieldFact.HEADLAND_TOP] - facts[FieldFact.FIRM_TOP]), CHECK_SD)
        target, below = water_of_check(top, below, observed[Observed.VALUE], facts)
        if target != top:
            target += noise * sd / observed[Observed.SD]
    shift, after, surprise = correction(top, before, target, sd)
    if seen and before > 0.0:  # people do not misread a tier as far as a probe misreads water
        shift = (1.0 - after / before) * (target - top)
    state[GroundState.VARIANCE] = after
    lowest, highest = 0.5 * soil[SoilFact.WP], soil[SoilFact.SAT]
    water[0] = min(max(water[0] + shift, lowest), highest)
    water[1] = min(max(water[1] + shift, lowest), highest)
    water[BELOW] = min(max(below, lowest), highest)
    state[GroundState.WAIT] = 0.0
    return surprise


@njit(nogil=True, error_model="numpy")
def ground_hours(first, stop, values, codes, water, state, facts, soil, hourly):  # type: ignore[no-untyped-def]
    """Run the ground from hour `first` to `stop`; in unknown hours the state stays as it is."""
    gap, wait = state[GroundState.GAP], state[GroundState.WAIT]
    variance = state[GroundState.VARIANCE]
    for h in range(first, stop):
        known = not math.isnan(hourly[Hourly.ETO, h])
        if known:
            gap = 0.0
            green = min(max((facts[FieldFact.RIPE] - h) / KCB_FALL, 0.0), 1.0)
            kcb = KCB_RIPE + (KCB_GREEN - KCB_RIPE) * green
            water_step(
                water,
                soil,
                hourly[Hourly.RAIN, h],
                hourly[Hourly.TEMP, h],
                hourly[Hourly.ETO, h],
                kcb,
            )
            variance += (WATER_SD * WATER_SD - variance) / WATER_MEMORY
        else:
            gap += 1.0
            if gap > MAX_GAP:  # assume a soaking
                wait, water[0], water[1] = GROUND_WAIT, soil[SoilFact.SAT], soil[SoilFact.SAT]
        top = max(water[0], water[1])
        if known and wait <= 0.0:
            is_frozen = frozen(water)
            values[Value.WATER_TOP, h], values[Value.WATER_BELOW, h] = top, water[BELOW]
            codes[Code.TIER, h] = tier_of(top, water[BELOW], is_frozen, facts)
            bears = is_frozen or top <= facts[FieldFact.APPROACH]
            codes[Code.APPROACH, h] = FIRM if bears else SOFT
        else:
            values[Value.WATER_TOP, h], values[Value.WATER_BELOW, h] = math.nan, math.nan
            codes[Code.TIER, h], codes[Code.APPROACH, h] = UNKNOWN, UNKNOWN
            wait -= 1.0 if known else 0.0
    state[GroundState.GAP], state[GroundState.WAIT] = gap, wait
    state[GroundState.VARIANCE] = variance
