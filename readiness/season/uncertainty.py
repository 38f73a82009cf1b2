"""Uncertainty of a run: errors of its state, gaps in the weather, correction by observations."""

from __future__ import annotations

import math

from numba import njit

#: Standard error of a run without observations: grain 1.2 points (Atzema 1998: 1.1-1.2), water of
#: 0-15 cm 0.045 m³/m³ (assumed, as uncalibrated models reach against station records).
GRAIN_SD, WATER_SD = 1.2, 0.045
#: Standard error of grain moisture while ripening holds the grain moist, points; assumed: two days
#: of ripening.
RIPENING_SD = 4.0
#: Hours in which the error grows back after a sample or a check; assumed: two and twenty days.
GRAIN_MEMORY, WATER_MEMORY = 48.0, 480.0
#: Lowest standard error of a ground check, m³/m³. Assumed, because a check sees one place of a
#: field. It decides how far a check moves ground whose two limits lie close together.
CHECK_SD = 0.005
#: A gap in the weather of more hours than this may hide a soaking rain, and the run assumes one.
#: Grain and ground then stay unknown for so many hours of weather, or until a sample or a check.
#: Assumed: ears forget a soaking in about three days, ground in about ten.
MAX_GAP = 6
GRAIN_WAIT, GROUND_WAIT = 72.0, 240.0
#: A surprise beyond this many standard errors is clipped to it and reported. Assumed, because a
#: slip of the pen is then likelier than such weather. It decides how far one wrong
#: sample moves a field.
MAX_SURPRISE = 3.0


@njit(nogil=True, error_model="numpy")
def correction(value, variance, observed, sd):  # type: ignore[no-untyped-def]
    """Kalman update of one number with a clipped innovation.

    Parameters
    ----------
    value, variance : of the model.
    observed, sd : observation and its standard error.

    Returns
    -------
    shift : to be added to the value.
    variance : after the update.
    surprise : innovation before clipping, in standard errors.
    """
    total = variance + sd * sd
    surprise = (observed - value) / math.sqrt(total)
    clipped = min(max(surprise, -MAX_SURPRISE), MAX_SURPRISE)
    gain = variance / total
    return gain * clipped * math.sqrt(total), (1.0 - gain) * variance, surprise
