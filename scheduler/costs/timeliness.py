"""Closed-form timeliness cost and least-cost capacity of machinery.

References
----------
ASABE EP496, Agricultural machinery management; restated in Srivastava et al. 2006, Engineering
Principles of Agricultural Machines, ch. 15, and in Hunt, Farm Power and Machinery Management.
"""

from __future__ import annotations

import math

#: Z of the standard where all work begins, or all ends, at the best date.
ONE_SIDED = 2.0


def timeliness_cost(
    area: float,
    capacity: float,
    *,
    loss_day: float,
    yield_: float,
    value: float,
    hours_day: float,
    working_share: float,
    z: float = ONE_SIDED,
) -> float:
    """Money lost in a year because work takes time: W = K A² Y V / (Z G C pwd).

    Parameters
    ----------
    area : A, ha.
    capacity : C, ha/h.
    loss_day : K, share of crop value lost per day of delay.
    yield_ : Y, t/ha.
    value : V, money/t.
    hours_day : G, hours worked on a working day.
    working_share : pwd, probability of a working day, 0-1.
    z : 2 where all work begins at the best date, 4 where work is balanced around it.

    Any other consistent units serve as well.
    """
    return loss_day * area**2 * yield_ * value / (z * hours_day * capacity * working_share)


def least_cost_capacity(
    area: float,
    *,
    own_share: float,
    price_per_capacity: float,
    labour_hour: float,
    tractor_hour: float = 0.0,
    loss_day: float,
    yield_: float,
    value: float,
    hours_day: float,
    working_share: float,
    z: float = ONE_SIDED,
) -> float:
    """Capacity at which ownership equals labour, tractor and timeliness cost, ha/h.

    C = sqrt{A / (c_own k_p) [L + T + K A Y V / (Z G pwd)]}. In US units, width in feet follows
    from the price per foot times 8.25 / (speed x efficiency) in place of `price_per_capacity`.

    Parameters
    ----------
    own_share : c_own, annual ownership cost as a share of the price.
    price_per_capacity : k_p, price of a machine, money per ha/h.
    labour_hour, tractor_hour : L and T, money per hour.
    area, loss_day, yield_, value, hours_day, working_share, z : as in `timeliness_cost`.
    """
    hourly = labour_hour + tractor_hour
    hourly += loss_day * area * yield_ * value / (z * hours_day * working_share)
    return math.sqrt(area / (own_share * price_per_capacity) * hourly)
