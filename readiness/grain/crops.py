"""Every constant that belongs to a crop, with its edition and source.

Marks beside the values: 'published' (read in the source or in a faithful restatement), 'reproduced'
(checked against figures printed elsewhere), 'memory' (a handbook value from memory, to be looked up
before anyone relies on it), 'assumed' (chosen here, with the reason).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Form = Literal["henderson", "chung-pfost", "halsey", "oswin"]


@dataclass(frozen=True, kw_only=True)
class Isotherm:
    """Constants of an equilibrium moisture isotherm (ASAE D245.5 and D245.6).

    The edition stays with the constants, because editions differ.

    Attributes
    ----------
    form : equation, see `moisture.equilibrium_moisture`; RH decimal, T °C, M dry basis.
    a, b, c : K, N, C of henderson (M percent); A, B, C of chung-pfost (M decimal), and of halsey
        and oswin (M percent).
    edition, source : of the constants.
    """

    form: Form
    a: float
    b: float
    c: float
    edition: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Crop:
    """Constants of one crop; moisture in percent wet basis (wb).

    Attributes
    ----------
    name : as shown to people.
    lb_per_bu : trade weight of a bushel.
    test_weight : of sound grain at the trade bushel weight, kg/hL.
    base_moisture : moisture at which a bushel is sold, percent wb.
    thresh_limit : highest moisture that a combine threshes well, percent wb.
    mature_moisture : at physiological maturity, percent wb.
    heading_stage : growth stage from which a date of maturity can be estimated.
    heading_to_ripe_days : days from `heading_stage` to physiological maturity.
    filling_rate : fall of moisture before maturity, percent wb per day.
    drydown_rate : fastest fall after maturity while the plant holds the grain moist, percent wb per
        day; later, or once a sample is drier, the weather alone decides.
    isotherms : equilibrium constants, the one in use first.
    saturated_moisture : moisture of grain under free water in the end, percent wb.
    k0, activation : thin-layer drying constant k = k0 exp(-activation / (T + 273.15)), 1/s, K.
    exposure : share of k at which the skin of kernels in a standing ear dries or soaks.
    vapour_exposure : share of k at which the skin takes up vapour, slower than drying.
    core_exposure : share of k at which the core follows the skin.
    ear_capacity : free water that the ear layer holds, mm.
    ear_catch : share of rain that the ear layer catches until it is full.
    imbibition : fastest uptake of kernels on an ear full of water, points db an hour.
    dormancy_days : days of dry grain after maturity before half the kernels can sprout.
    sprout_water : least moisture of the core at which kernels sprout, percent db.
    sprout_scale : time at such moisture and 20 °C in which 63 % of the kernels sprout, h.
    wetting_test_weight : test weight that the first wetting costs, kg/hL; each further one costs
        less.
    loss_day : share of the crop lost per day of standing ripe (shatter, lodging).
    straw_limit : humidity with which the straw may be in equilibrium at most to thresh well,
        percent; infinite where straw does not stop the combine.
    heat_base, heat_units : base temperature, °C, and degree-days above it from `heading_stage` to
        physiological maturity, °C d.
    """

    name: str
    lb_per_bu: float
    test_weight: float
    base_moisture: float
    thresh_limit: float
    mature_moisture: float
    heading_stage: str
    heading_to_ripe_days: float
    filling_rate: float
    drydown_rate: float
    isotherms: tuple[Isotherm, ...]
    saturated_moisture: float
    k0: float
    activation: float
    exposure: float
    vapour_exposure: float
    core_exposure: float
    ear_capacity: float
    ear_catch: float
    imbibition: float
    dormancy_days: float
    sprout_water: float
    sprout_scale: float
    wetting_test_weight: float
    loss_day: float
    straw_limit: float
    heat_base: float
    heat_units: float

    @property
    def isotherm(self) -> Isotherm:
        """The equilibrium constants in use."""
        return self.isotherms[0]

    def with_isotherm(self, *, edition: str, form: Form) -> Crop:
        """The same crop with another of its isotherms in use.

        Raises
        ------
        ValueError
            Where the crop has no such isotherm.
        """
        for chosen in self.isotherms:
            if chosen.edition == edition and chosen.form == form:
                rest = tuple(other for other in self.isotherms if other is not chosen)
                return replace(self, isotherms=(chosen, *rest))
        available = ", ".join(f"{i.edition} {i.form}" for i in self.isotherms)
        raise ValueError(f"{self.name}: no isotherm {edition} {form}; choose from {available}")


def _isotherm(form: Form, a: float, b: float, c: float, edition: str, source: str) -> Isotherm:
    """Isotherm from one line of a table."""
    return Isotherm(form=form, a=a, b=b, c=c, edition=edition, source=source)


_D5, _D6, _BOOK = "D245.5", "D245.6", "textbook"
#: Constants quoted by public code for bins, with table or calculator; that code reports that the
#: set for wheat and barley gives charts of equilibrium moisture of the Canadian prairies to 0.05.
_TABLE_2 = "published second hand: D245.5 (2001) Table 2, as quoted in code"
_ARKANSAS = "published second hand: University of Arkansas calculator of D245, as quoted in code"
_NEAR_HENDERSON = "memory; within 0.7 point of the published Henderson set from 30 to 85 %"
_CEREALS_BOOK = "Storage of Cereal Grains and Their Products, 5th ed., p. 272, as quoted in code"

#: Wheat standing loss: ASABE D497, wheat, Ohio (memory, 0.005). Bolland 1984 measured 0.53, 0.49,
#: 0.53, 0.18 and 0 %/day. Clarke 1985 (Agronomy Journal 77, abstract read): spring wheat shattered
#: 4 to 27 g/m² by cultivar and year in all, up to two weeks after 15 % moisture, which is the same
#: order. It decides how many days of waiting a point of moisture is worth.
_WHEAT_LOSS = 0.005
#: Barley delay loss: mean of Bolland 1984 (published: 0.67, 0.75, 0.46, 0.65, 0.42, 0.25).
_BARLEY_LOSS = 0.0053

#: Dry days after maturity before half of a lot's kernels can sprout, for varieties that keep their
#: dormancy briefly, as usual, and long. Bauer & Black 1983: 4 to more than 15 days by cultivar,
#: here of half the kernels; the middle is assumed. They decide which fields a wet spell endangers
#: first.
DORMANCY_LOW, DORMANCY_USUAL, DORMANCY_HIGH = 4.0, 9.0, 15.0
#: Straw's humidity above which straw is too tough to thresh. Common practice, no source: combines
#: stop at about 70 %, and the published limit of fieldwork days that `days_suitable` uses is 70 %.
_STRAW_LIMIT = 70.0

_HARD = Crop(
    name="hard wheat",
    lb_per_bu=60.0,  # memory, trade standard
    test_weight=78.9,  # 60 lb/bu by 1.292 x + 1.419 (FGIS, memory)
    base_moisture=13.5,  # published for hard red spring
    thresh_limit=20.0,  # published: Ohio State, Rutgers; above it kernels are damaged
    # published: NDSU, Saskatchewan and Ohio State about 30 %, University of Minnesota 30-40 %,
    # Alberta 35 %, Virginia Tech about 37 %; assumed nearer the first three, which speak of wheat
    mature_moisture=32.0,
    heading_stage="heading",
    heading_to_ripe_days=35.0,  # memory: 30-40 days
    # published for barley, assumed alike: 0.059-0.071 points a degree-day between 50 and 10 %
    # (Alberta Field Crop Development Centre), 1.1-1.3 points a day at 18 °C
    filling_rate=1.2,
    drydown_rate=2.0,  # memory: maturity to harvest in one to two weeks
    isotherms=(
        _isotherm("chung-pfost", 529.43, 17.609, 50.998, _D5, _NEAR_HENDERSON),
        _isotherm("henderson", 2.3007e-5, 2.2857, 55.815, _D5, _ARKANSAS),
        _isotherm("chung-pfost", 610.34, 15.526, 93.213, _BOOK, _CEREALS_BOOK),
    ),
    # assumed: Bauer & Black 1983 kept sprouting spikes above 750 g/kg, which is 43 %
    saturated_moisture=42.0,
    # O'Callaghan, Menzies & Bailey 1971 (memory): ventilated single wheat kernels. Canola, corn,
    # sorghum and soybean keep them, assumed, because no constants near 20 °C were found for them;
    # their exposures and drying rates by the day tell them apart
    k0=2000.0,
    activation=5094.0,
    # fitted once to the published rates of `grain_events` and `wet_grain`, not to a farm's data
    exposure=0.9,
    vapour_exposure=0.77,
    core_exposure=0.055,
    # published: saturated spikes hold about 1.0 kg of free water per kg (Bauer & Black 1983: about
    # 1450 to 1500 g/kg, some 500 of it in the grain), on 0.5 kg/m² of spikes
    ear_capacity=0.50,
    ear_catch=0.4,  # assumed: 1 - exp(-0.5 x ear area index 1)
    imbibition=1.7,  # published: 17 g/kg an hour at a spike water of 1450 g/kg (Bauer & Black 1983)
    dormancy_days=DORMANCY_USUAL,
    sprout_water=45.0,  # published: 450 to 490 g/kg (Bauer & Black 1983)
    sprout_scale=55.0,  # from 20 % within 28 h and 90 % within 8 days (Bauer & Black 1983)
    # published: NDSU 2012, 2-3 lb/bu are usual after rain, more with further wettings; Ontario,
    # about 1 lb/bu per re-wetting; Virginia Tech 2006, 3.8 lb/bu in 12 days. The first wetting
    # costs 1.5 lb/bu here, the first three 3.6 lb/bu. 1.292 kg/hL per lb/bu (FGIS, memory)
    wetting_test_weight=2.0,
    loss_day=_WHEAT_LOSS,
    straw_limit=_STRAW_LIMIT,
    heat_base=0.0,
    # Montana State MT200103AG (Saskatchewan trials): flowering at about 854 and maturity at about
    # 1600 °C d from sowing (memory); 5 days and 80 °C d from heading to flowering assumed
    heat_units=825.0,
)
_BARLEY = replace(
    _HARD,
    name="barley",
    lb_per_bu=48.0,  # memory
    test_weight=61.8,  # 48 lb/bu x 1.287
    base_moisture=14.0,  # memory: 13.5-14.5
    thresh_limit=18.0,  # memory: up to about 18 %
    mature_moisture=35.0,  # published: Alberta Field Crop Development Centre, 35 %
    # published sets differ by 1.7-2.0 points at 16 °C and 65 %: choose with `with_isotherm`
    isotherms=(
        _isotherm("chung-pfost", 761.66, 19.889, 91.323, _D5, _NEAR_HENDERSON),
        _isotherm("henderson", 2.2919e-5, 2.0123, 195.267, _D5, _ARKANSAS),
        _isotherm("chung-pfost", 457.12, 14.843, 71.996, _BOOK, _CEREALS_BOOK),
    ),
    # Boyce 1965 (memory)
    k0=139.3,
    activation=4426.0,
    exposure=1.3,  # the ear rates of wheat at 20 °C, for barley's smaller k
    vapour_exposure=1.12,
    core_exposure=0.08,
    # published: sprouts more readily than wheat (Victoria); the numbers assumed, because malting
    # barley is bred to lose its dormancy early
    dormancy_days=DORMANCY_LOW,
    sprout_scale=40.0,
    loss_day=_BARLEY_LOSS,
    # Montana State MT200103AG: flowering at about 837 and maturity at about 1395 °C d (memory)
    heat_units=640.0,
)

CROPS: dict[str, Crop] = {
    "wheat_hard": _HARD,
    "wheat_soft": replace(
        _HARD,
        name="soft wheat",
        isotherms=(
            _isotherm("henderson", 1.2299e-5, 2.5558, 64.346, _D5, "reproduced"),
            _isotherm("chung-pfost", 726.49, 23.607, 35.662, _D5, "reproduced"),
        ),
        # published: red wheats differ, white wheats keep less (Kansas State); the number assumed
        dormancy_days=6.0,
    ),
    "wheat_durum": replace(
        _HARD,
        name="durum",
        test_weight=78.2,  # 60 lb/bu by 1.292 x + 0.630 (FGIS, memory)
        isotherms=(
            _isotherm("oswin", 13.101, -0.052626, 2.9987, _D5, _TABLE_2),
            _isotherm("chung-pfost", 922.65, 18.077, 112.350, _D5, "memory"),
            _isotherm("henderson", 2.5738e-5, 2.2110, 70.318, _D5, "memory"),
        ),
        dormancy_days=6.0,  # assumed between hard wheat and barley
    ),
    "barley": _BARLEY,
    "oats": replace(
        _BARLEY,
        name="oats",
        lb_per_bu=32.0,  # memory
        test_weight=41.2,  # 32 lb/bu x 1.287
        thresh_limit=16.0,  # memory: 14-16 % at harvest
        isotherms=(
            _isotherm("chung-pfost", 442.85, 21.228, 35.803, _D5, _TABLE_2),
            _isotherm("henderson", 8.5511e-5, 2.0087, 37.811, _D5, "memory"),
            _isotherm("chung-pfost", 433.157, 21.581, 41.439, _BOOK, _CEREALS_BOOK),
        ),
        dormancy_days=_HARD.dormancy_days,  # assumed as wheat
        sprout_scale=_HARD.sprout_scale,  # assumed as wheat
        loss_day=0.0075,  # assumed: upper end of the published range; oats shatter and lodge most
    ),
    "canola": replace(
        _HARD,
        name="canola",
        lb_per_bu=50.0,  # memory
        test_weight=64.4,  # 50 lb/bu x 1.287
        base_moisture=10.0,  # published, second hand
        thresh_limit=12.0,  # assumed: about 10 % is usual (memory), a little more can be threshed
        mature_moisture=40.0,  # published: filled at about 40 % (NDSU Crop & Pest Report 2006)
        heading_stage="end of flowering",
        heading_to_ripe_days=35.0,  # memory
        filling_rate=2.0,  # assumed: a little slower than after maturity
        drydown_rate=2.5,  # published: 2-3 points a day or more (NDSU Crop & Pest Report 2006)
        isotherms=(
            # reproduces 77 cells of a seed company's table for stored canola to 0.1
            _isotherm("henderson", 50.56e-5, 1.5702, 40.1204, _D5, "reproduced"),
        ),
        # assumed: the pod keeps free water off the seed, half as fast as an ear of wheat
        saturated_moisture=35.0,
        ear_capacity=0.3,
        imbibition=0.85,
        dormancy_days=DORMANCY_LOW,  # assumed: ripe canola seed germinates within days
        sprout_scale=80.0,  # assumed, for want of records: half as long again as wheat
        wetting_test_weight=0.3,  # assumed: small; canola is graded on green and heated seed
        # assumed: ripe pods shatter, from about ten days after 10 % on significantly (NDSU Crop &
        # Pest Report 2007, no figure)
        loss_day=0.0075,
        # Montana State MT200103AG: flowering ends near 850, maturity at about 1495 °C d (memory)
        heat_units=645.0,
    ),
    "corn": replace(
        _HARD,
        name="corn",
        lb_per_bu=56.0,  # memory
        test_weight=72.1,  # 56 lb/bu x 1.287
        base_moisture=15.5,  # published
        thresh_limit=25.0,  # memory: 15-25 %
        mature_moisture=32.5,  # published: black layer at 30-35 % (Illinois Agronomy Handbook)
        heading_stage="silking",
        heading_to_ripe_days=58.0,  # memory: 55-60 days
        heat_base=10.0,  # published: 50 °F; the cap at 86 °F is left out
        heat_units=690.0,  # memory: about 1250 °F d from silking to black layer
        filling_rate=1.0,  # published: linear, 0.25-1.0 point a day
        drydown_rate=1.0,
        isotherms=(
            _isotherm("chung-pfost", 374.34, 18.662, 31.696, _D6, "reproduced"),
            _isotherm("chung-pfost", 312.30, 16.958, 30.205, _D5, "reproduced"),
            _isotherm("henderson", 8.6541e-5, 1.8634, 49.810, _D5, "reproduced"),
            _isotherm("henderson", 6.6612e-5, 1.9677, 42.143, _D6, "memory"),
        ),
        saturated_moisture=32.0,  # assumed: no wetter than at maturity, under the husk
        exposure=0.03,  # assumed: the husk; gives 0.25-1.0 point a day (published)
        vapour_exposure=0.027,
        core_exposure=0.02,
        ear_capacity=0.3,  # assumed: the film on the husk
        ear_catch=0.2,  # assumed: the ear hangs below leaves
        imbibition=0.4,  # assumed: the husk
        sprout_water=43.0,  # memory: kernels germinate from about 30 % wb
        sprout_scale=80.0,  # assumed, for want of records: as canola
        wetting_test_weight=0.1,  # assumed: little under the husk
        # published: ASABE timeliness of shelled corn, Iowa, 0.3 % a day (Schuler, University of
        # Wisconsin, 2005); 0.7 % is that of ear corn after 26 October
        loss_day=0.003,
        straw_limit=float("inf"),  # common practice, no source: the ear is picked, not the stalk
    ),
    "sorghum": replace(
        _HARD,
        name="sorghum",
        lb_per_bu=56.0,  # memory
        test_weight=72.1,
        base_moisture=14.0,  # memory
        thresh_limit=20.0,  # memory: 14-20 %
        mature_moisture=35.0,  # published: dries from about 35 % (U.S. Grains Council 2015)
        heading_stage="half bloom",
        heading_to_ripe_days=42.0,  # memory
        heat_base=10.0,  # memory
        heat_units=560.0,  # memory: about 1000 °F d from half bloom to black layer
        filling_rate=1.2,  # assumed: a little faster than corn, without a husk
        drydown_rate=1.2,
        isotherms=(
            _isotherm("chung-pfost", 1099.68, 19.644, 102.849, _D5, "memory"),
            _isotherm("henderson", 0.8532e-5, 2.4757, 113.725, _D5, "memory"),
        ),
        exposure=0.45,  # assumed: naked kernels in a dense head, half an ear of wheat
        vapour_exposure=0.38,
        core_exposure=0.027,
        dormancy_days=DORMANCY_LOW,  # assumed, because ripe heads sprout in wet spells
        wetting_test_weight=0.6,  # assumed: less than wheat, for a harder, rounder kernel
        loss_day=0.004,  # assumed, for want of records: a little less than wheat
        straw_limit=float("inf"),  # common practice, no source: heads are cut above the stalk
    ),
    "soybean": replace(
        _HARD,
        name="soybean",
        lb_per_bu=60.0,  # memory
        test_weight=77.2,  # 60 lb/bu x 1.287
        base_moisture=13.0,  # published
        thresh_limit=15.0,  # memory: 13-15 % at harvest
        mature_moisture=50.0,  # published: over 50 % as the seed turns yellow (Ohio, 2018)
        heading_stage="beginning seed",
        heading_to_ripe_days=40.0,  # memory
        filling_rate=1.0,  # memory
        drydown_rate=2.8,  # published: from over 50 to near 13 % in two weeks (Ohio, 2018)
        heat_base=10.0,  # memory
        heat_units=480.0,  # assumed: 40 days at 22 °C
        isotherms=(
            _isotherm("halsey", 2.87, -0.0054, 1.38, _D5, f"reproduced; {_TABLE_2}"),
            _isotherm("chung-pfost", 328.30, 13.917, 100.288, _D5, "published second hand"),
            _isotherm("henderson", 30.5327e-5, 1.2164, 134.136, _D5, "published second hand"),
        ),
        # assumed: as canola; soybean takes up half its own mass before it germinates (memory)
        saturated_moisture=53.0,
        ear_capacity=0.3,
        imbibition=0.85,
        sprout_water=100.0,
        sprout_scale=80.0,
        dormancy_days=0.0,  # memory: ripe soybean has none
        wetting_test_weight=0.3,  # assumed: small, in the pod, as canola
        # published: ASABE timeliness, Illinois, 0.6-1.0 % a day by variety (Schuler, University of
        # Wisconsin, 2005); pods shatter as they dry again
        loss_day=0.0075,
    ),
}
