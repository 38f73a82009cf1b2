"""Compiled grain of one field: hourly inputs of its crop, hours of moisture, and samples."""

from __future__ import annotations

import math
from typing import Any

from numba import njit

from readiness.grain import moisture
from readiness.grain.moisture import (
    GREEN_MAX,
    STRAW_WET,
    Ear,
    EarHour,
    Germination,
    KernelStores,
    equilibrium,
    grain_step,
    mean_moisture,
    relaxed_share,
    soak_of_share,
    sprout_step,
    straw_step,
    wetting_step,
)
from readiness.season.codes import Reason
from readiness.season.kernel_layout import (
    KIND_SPROUT_HIGH,
    KIND_SPROUT_LOW,
    KIND_WEIGHED,
    KIND_WETTER,
    CropFact,
    FieldFact,
    GrainState,
    Hourly,
    Observed,
    Value,
)
from readiness.season.uncertainty import (
    GRAIN_MEMORY,
    GRAIN_SD,
    GRAIN_WAIT,
    MAX_GAP,
    RIPENING_SD,
    correction,
)

OPEN, UNKNOWN = int(Reason.OPEN), int(Reason.UNKNOWN)
WET_GRAIN, STRAW, GREEN = int(Reason.GRAIN), int(Reason.STRAW), int(Reason.GREEN)
#: Ripening decides over weather while the core is below this multiple of the ripening curve.
#: Assumed, because grain a fifth wetter than the curve was wetted by rain. It decides whether a
#: sample moves the date of ripeness.
RIPENING_MARGIN = 1.2
#: Points by which a sample wetter than the model shows that the crop ripens later than its date.
#: Assumed: over twice the model's error. It decides whether a wet sample holds a field back.
UNRIPE_SURPRISE = 3.0


# formulas of `moisture`, compiled from the same source; a generic function loses its type there
wet_basis: Any = njit(nogil=True, error_model="numpy")(moisture.dry_to_wet)
dry_basis: Any = njit(nogil=True, error_model="numpy")(moisture.wet_to_dry)
thin_layer_k: Any = njit(nogil=True, error_model="numpy")(moisture.thin_layer_k)


@njit(nogil=True, error_model="numpy")
def fill_crop_hours(crop, hourly):  # type: ignore[no-untyped-def]
    """Fill the rows of `Hourly` that depend on the crop: equilibrium and the shares of the way."""
    for h in range(hourly.shape[1]):
        if not math.isnan(hourly[Hourly.ETO, h]):
            temp = hourly[Hourly.EAR_TEMP, h]
            hourly[Hourly.EQUILIBRIUM, h] = equilibrium(
                crop[CropFact.FORM],
                crop[CropFact.A],
                crop[CropFact.B],
                crop[CropFact.C],
                temp,
                hourly[Hourly.EAR_HUMIDITY, h],
            )
            k = thin_layer_k(temp, crop[CropFact.K0], crop[CropFact.ACTIVATION])
            hourly[Hourly.SKIN_SHARE, h] = relaxed_share(crop[CropFact.EXPOSURE] * k)
            hourly[Hourly.UPTAKE_SHARE, h] = relaxed_share(crop[CropFact.VAPOUR_EXPOSURE] * k)
            hourly[Hourly.CORE_SHARE, h] = relaxed_share(crop[CropFact.CORE_EXPOSURE] * k)


@njit(nogil=True, error_model="numpy")
def ear_hour(hourly, h, drying):  # type: ignore[no-untyped-def]
    """Hour `h` as the grain step takes it; `drying` slows the drying of a lodged or cut crop."""
    evaporation = hourly[Hourly.EVAPORATION, h]
    return EarHour(
        hourly[Hourly.RAIN, h],
        evaporation * drying if evaporation > 0.0 else evaporation,
        hourly[Hourly.EQUILIBRIUM, h],
        hourly[Hourly.SKIN_SHARE, h] * drying,
        hourly[Hourly.UPTAKE_SHARE, h] * drying,
        hourly[Hourly.CORE_SHARE, h],
    )


@njit(nogil=True, error_model="numpy")
def observe_grain(state, facts, crop, observed, noise):  # type: ignore[no-untyped-def]
    """Correct a grain state by a sample, or by a finding that it is wetter; return the surprise.

    The ripening curve is moved so that it runs through the corrected moisture, where ripening holds
    the grain moist. Grain that rain wetted is ripe all the same, unless a sample is wetter than the
    weather can have left it. Grain found wetter than a moisture is taken to lie one standard error
    above it; a state that is wetter stays.
    """
    since_ripe = (observed[Observed.HOUR] - facts[FieldFact.RIPE]) / 24.0
    lowest = ripening_curve(since_ripe + state[GrainState.AHEAD], facts, crop)
    ripening = state[GrainState.CORE] < RIPENING_MARGIN * lowest
    mean = wet_basis(mean_moisture(state[GrainState.SKIN], state[GrainState.CORE]))
    target, sd = observed[Observed.VALUE], observed[Observed.SD]
    if observed[Observed.KIND] == KIND_WETTER:
        target += sd
        if mean >= target:
            return 0.0
    shift, state[GrainState.VARIANCE], surprise = correction(
        mean, state[GrainState.VARIANCE], target + noise, sd
    )
    more = dry_basis(min(max(mean + shift, 1.0), GREEN_MAX)) - dry_basis(mean)
    for column in (GrainState.SKIN, GrainState.CORE, GrainState.TURN):
        state[column] = max(state[column] + more, 0.5)
    state[GrainState.WAIT] = 0.0
    if ripening or shift > UNRIPE_SURPRISE:
        above = mean + shift - facts[FieldFact.MATURE]
        slope = crop[CropFact.FILLING_RATE] if above > 0.0 else facts[FieldFact.DRYDOWN]
        state[GrainState.AHEAD] = -above / slope - since_ripe
    return surprise


@njit(nogil=True, error_model="numpy")
def observe_quality(state, soak, crop, observed):  # type: ignore[no-untyped-def]
    """Correct a grain state by a weighed load or by bounds of sprouting; the surprise is none.

    A weighed load starts the count of wettings anew. Sprouting moves to the bound that it exceeds,
    and all kernels then count as soaked alike.
    """
    kind, share = observed[Observed.KIND], observed[Observed.VALUE]
    if kind == KIND_WEIGHED:
        state[GrainState.WETTINGS] = 0.0
    elif (kind == KIND_SPROUT_LOW and state[GrainState.SPROUT] < share) or (
        kind == KIND_SPROUT_HIGH and state[GrainState.SPROUT] > share
    ):
        state[GrainState.SPROUT] = share
        soak[:] = soak_of_share(share, crop[CropFact.SPROUT_SCALE])
    return 0.0


@njit(nogil=True, error_model="numpy")
def ripening_curve(days, facts, crop):  # type: ignore[no-untyped-def]
    """Moisture below which ripening does not let the grain fall, percent db.

    `days` is the time since maturity, negative before.
    """
    slope = crop[CropFact.FILLING_RATE] if days <= 0.0 else facts[FieldFact.DRYDOWN]
    return dry_basis(min(max(facts[FieldFact.MATURE] - slope * days, 1.0), GREEN_MAX))


@njit(nogil=True, error_model="numpy")
def grain_hours(first, stop, values, reasons, state, soak, facts, crop, hourly):  # type: ignore[no-untyped-def]
    """Run the grain from hour `first` to `stop`; `reasons` gets the grain's, 0 where it is fit.

    `soak`, (class,), are the hours that count towards sprouting, by class of dormancy.
    """
    limit, straw_limit = dry_basis(facts[FieldFact.LIMIT]), facts[FieldFact.STRAW_LIMIT]
    drying = facts[FieldFact.DRYING]
    ear = Ear(
        crop[CropFact.SATURATED],
        crop[CropFact.EAR_CAPACITY] * facts[FieldFact.HOLDING],
        crop[CropFact.EAR_CATCH],
        crop[CropFact.IMBIBITION],
    )
    germination = Germination(
        facts[FieldFact.DORMANCY], crop[CropFact.SPROUT_WATER], crop[CropFact.SPROUT_SCALE]
    )
    stores = KernelStores(state[GrainState.SKIN], state[GrainState.CORE], state[GrainState.FILM])
    turn, armed = state[GrainState.TURN], state[GrainState.ARMED]
    wettings, sprout = state[GrainState.WETTINGS], state[GrainState.SPROUT]
    rest, straw = state[GrainState.REST], state[GrainState.STRAW]
    gap, wait, variance = (
        state[GrainState.GAP],
        state[GrainState.WAIT],
        state[GrainState.VARIANCE],
    )
    # hours, from the first, at which the grain is ripe and at which ripening no longer matters
    ripe = -math.inf
    if state[GrainState.RIPENING] > 0.0:
        ripe = facts[FieldFact.RIPE] - 24.0 * state[GrainState.AHEAD]
    over = ripe + 24.0 * facts[FieldFact.MATURE] / facts[FieldFact.DRYDOWN]
    for h in range(first, stop):
        before = mean_moisture(stores.skin, stores.core)
        known, wet = not math.isnan(hourly[Hourly.ETO, h]), 0.0
        green = h + 1.0 < ripe
        if known:
            gap = 0.0
            stores, wet = grain_step(stores, ear_hour(hourly, h, drying), ear)
            humidity = hourly[Hourly.HUMIDITY, h]
            straw = straw_step(humidity if math.isnan(straw) else straw, wet, humidity)
            error = GRAIN_SD
            if h < over:
                lowest = ripening_curve((h + 1.0 - ripe) / 24.0, facts, crop)
                if stores.core < RIPENING_MARGIN * lowest:
                    error = RIPENING_SD
                stores = KernelStores(
                    max(stores.skin, lowest), max(stores.core, lowest), stores.film
                )
            variance += (error * error - variance) / GRAIN_MEMORY
            if green:
                turn = stores.core
            else:
                turn, armed, event = wetting_step(stores.core, turn, armed)
                wettings += event
                rest, sprout = sprout_step(
                    rest, soak, sprout, stores, hourly[Hourly.TEMP, h], germination
                )
        else:
            gap += 1.0
            if gap > MAX_GAP:  # assume a soaking
                wait, straw = GRAIN_WAIT, STRAW_WET
                stores = KernelStores(max(stores.skin, ear.saturated), stores.core, ear.capacity)
        mean = mean_moisture(stores.skin, stores.core)
        values[Value.WETTINGS, h], values[Value.SPROUT, h] = wettings, sprout
        values[Value.STRAW, h] = straw
        values[Value.MOISTURE, h], values[Value.FILM, h] = wet_basis(mean), stores.film
        if not known or wait > 0.0:
            values[Value.MOISTURE, h], values[Value.FILM, h] = math.nan, math.nan
            values[Value.STRAW, h] = math.nan
            reasons[h] = UNKNOWN
            wait -= 1.0 if known else 0.0
        elif wet > 0.0:
            reasons[h] = WET_GRAIN
        elif green:
            reasons[h] = GREEN
        elif max(before, mean) > limit:
            reasons[h] = WET_GRAIN
        else:
            reasons[h] = STRAW if straw > straw_limit else OPEN
    state[GrainState.SKIN], state[GrainState.CORE] = stores.skin, stores.core
    state[GrainState.FILM], state[GrainState.TURN] = stores.film, turn
    state[GrainState.ARMED], state[GrainState.WETTINGS] = armed, wettings
    state[GrainState.SPROUT] = sprout
    state[GrainState.REST], state[GrainState.STRAW] = rest, straw
    state[GrainState.GAP], state[GrainState.WAIT] = gap, wait
    state[GrainState.VARIANCE] = variance
