"""Words of farm files for crops, soils, roads and columns, all normalised."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from readiness.grain.crops import CROPS, DORMANCY_HIGH, DORMANCY_LOW
from readiness.soil.running_gear import Gear
from scheduler.errors import UnreadableError
from scheduler.farm.model import Approach, Purpose
from scheduler.farm.units import SI_PER_UNIT, normalized_name
from scheduler.farm_files.csv_table import CsvTable, read_number

#: Key of `CROPS` -> names in English.
ENGLISH_CROPS = {
    "wheat_hard": "wheat hard_wheat spring_wheat hard_red_spring_wheat hard_red_spring hrs hrsw "
    "winter_wheat hard_red_winter_wheat hard_red_winter hrw hrww hard_white_wheat",
    "wheat_soft": "soft_wheat soft_red_winter_wheat soft_red_winter srw srww soft_white_wheat sww",
    "wheat_durum": "durum durum_wheat",
    "barley": "barley malt_barley malting_barley feed_barley spring_barley winter_barley",
    "oats": "oats oat",
    "canola": "canola rapeseed oilseed_rape rape",
    "corn": "corn maize grain_corn field_corn",
    "sorghum": "sorghum grain_sorghum milo",
    "soybean": "soybeans soya soy beans",
}
#: Key of `CROPS` -> names in German and Spanish; an accented letter is '_', see `normalized_name`.
_CROPS_ELSEWHERE = {
    "wheat_hard": "weizen winterweizen sommerweizen trigo trigo_de_fuerza",
    "wheat_soft": "weichweizen trigo_blando",
    "wheat_durum": "hartweizen trigo_duro",
    "barley": "gerste wintergerste sommergerste braugerste futtergerste cebada cebada_cervecera",
    "oats": "hafer avena",
    "canola": "raps winterraps colza",
    "corn": "mais k_rnermais koernermais ma_z maiz",
    "sorghum": "hirse sorgo",
    "soybean": "soja sojabohnen sojabohne",
}
#: Name -> key of `CROPS`.
CROP_NAMES = {
    word: key
    for names in (ENGLISH_CROPS, _CROPS_ELSEWHERE)
    for key, words in names.items()
    for word in words.split()
} | {key: key for key in CROPS}
#: Key of `CROPS` -> its first name.
CROP_WORDS = {key: words.split()[0].replace("_", " ") for key, words in ENGLISH_CROPS.items()}
#: Names of hard red spring wheat, which has grade limits of its own.
SPRING_WHEAT = frozenset(
    ("spring_wheat", "hard_red_spring_wheat", "hard_red_spring", "hrs", "hrsw")
)

#: USDA texture classes: sand and clay, percent; class centres of the published check table of
#: Saxton & Rawls 2006.
TEXTURES: dict[str, tuple[float, float]] = {
    "sand": (88, 5),
    "loamy_sand": (80, 5),
    "sandy_loam": (65, 10),
    "loam": (40, 20),
    "silt_loam": (20, 15),
    "silt": (10, 5),
    "sandy_clay_loam": (60, 25),
    "clay_loam": (30, 35),
    "silty_clay_loam": (10, 35),
    "silty_clay": (10, 45),
    "sandy_clay": (50, 40),
    "clay": (25, 50),
}
_TEXTURE_WORDS = {
    "silty_loam": "silt_loam",
    "fine_sandy_loam": "sandy_loam",
    "s": "sand",
    "ls": "loamy_sand",
    "sl": "sandy_loam",
    "l": "loam",
    "sil": "silt_loam",
    "si": "silt",
    "scl": "sandy_clay_loam",
    "cl": "clay_loam",
    "sicl": "silty_clay_loam",
    "sic": "silty_clay",
    "sc": "sandy_clay",
    "c": "clay",
}
#: Word -> (texture class, sand and clay as fractions).
TEXTURE_NAMES = {
    word: (name.replace("_", " "), TEXTURES[name][0] / 100, TEXTURES[name][1] / 100)
    for word, name in [*((t, t) for t in TEXTURES), *_TEXTURE_WORDS.items()]
}

DRAINAGE_NAMES = {
    "poor": "poor",
    "moderate": "moderate",
    "good": "good",
    "very_poor": "poor",
    "poorly_drained": "poor",
    "somewhat_poor": "poor",
    "medium": "moderate",
    "fair": "moderate",
    "moderately_well_drained": "moderate",
    "well": "good",
    "well_drained": "good",
}
APPROACH_NAMES: dict[str, Approach] = {
    "paved": "paved",
    "gravel": "gravel",
    "dirt": "dirt",
    "asphalt": "paved",
    "tar": "paved",
    "highway": "paved",
    "all_weather": "gravel",
    "earth": "dirt",
    "prairie_trail": "dirt",
    "trail": "dirt",
    "track": "dirt",
}
GEAR_NAMES: dict[str, Gear] = {
    "single": "single",
    "singles": "single",
    "dual": "dual",
    "duals": "dual",
    "tandem": "tandem",
    "tracks": "tracks",
    "track": "tracks",
    "tracked": "tracks",
    "half_tracks": "tracks",
}
#: Dry days before a variety can sprout, by word; 'usual' is the crop's own.
DORMANCY_NAMES: dict[str, float] = {"low": DORMANCY_LOW, "high": DORMANCY_HIGH}
PURPOSE_NAMES: dict[str, Purpose] = {"grain": "grain", "seed": "seed"}

#: Heading -> our column, for headings that people use besides ours. The unit at the end of a
#: heading need not be listed.
COLUMN_ALIASES: dict[str, str] = {
    "field": "name",
    "field_id": "id",
    "field_name": "name",
    "latitude": "lat",
    "longitude": "lon",
    "long": "lon",
    "lng": "lon",
    "acres": "area_ac",
    "hectares": "area_ha",
    "size": "area",
    "cultivar": "variety",
    "soil": "texture",
    "soil_texture": "texture",
    "soil_type": "texture",
    "om": "organic_matter",
    "om_pct": "organic_matter_pct",
    "tiled": "tile",
    "tile_drained": "tile",
    "stubble": "residue",
    "road": "approach",
    "approach_road": "approach",
    "access": "approach",
    "expected_yield": "yield",
    "ripe_date": "ripe",
    "maturity": "ripe",
    "heading_date": "heading",
    "headed": "heading",
    "moisture": "sample",
    "moisture_pct": "sample_pct",
    "last_sample": "sample",
    "last_sample_pct": "sample_pct",
    "sample_moisture": "sample",
    "sample_moisture_pct": "sample_pct",
    "sample_time": "sampled",
    "sample_date": "sampled",
    "falling_number_s": "falling_number",
    "don": "vomitoxin",
    "don_ppm": "vomitoxin",
    "vomitoxin_ppm": "vomitoxin",
    "hvk": "vitreous",
    "hvk_pct": "vitreous_pct",
    "sprout_resistance": "dormancy",
    "lodging": "lodged",
    "down": "lodged",
    "windrowed": "swathed",
    "use": "purpose",
    "harvest_from": "not_before",
    "harvest_by": "not_after",
    "deadline": "not_after",
    "cut_already": "cut",
    "fraction_cut": "cut",
    "wet_hollow": "wet",
    "wet_fraction": "wet",
    # rain.csv
    "station": "gauge",
    "rain_gauge": "gauge",
    "date": "time",
    "date_time": "time",
    "datetime": "time",
    "timestamp": "time",
    "day": "time",
    "rain": "amount",
    "rainfall": "amount",
    "precipitation": "amount",
    "precip": "amount",
}


def column_names(headings: Sequence[str]) -> list[str]:
    """Our names of columns, units kept: 'Expected yield (bu/ac)' becomes 'yield_bu_ac'.

    An alias of a column keeps its own name where the column itself is there too.
    """
    names = [normalized_name(h) for h in headings]
    return [_our_name(name, names) for name in names]


def _our_name(name: str, names: Sequence[str]) -> str:
    """Our name of one column; the longest alias counts."""
    for alias in sorted(COLUMN_ALIASES, key=len, reverse=True):
        if name == alias or name.startswith(alias + "_"):
            ours = COLUMN_ALIASES[alias] + name[len(alias) :]
            return name if ours in names else ours
    return name


def quantity_columns(name: str, quantity: str, columns: Sequence[str]) -> list[str]:
    """The columns that hold a quantity: its name, alone or with a unit at the end."""
    return [c for c in columns if c == name or c in {f"{name}_{u}" for u in SI_PER_UNIT[quantity]}]


#: Likeness (0-1) from which an unknown heading is taken for a misspelt one; assumed: one or two
#: letters of a word.
MISSPELT = 0.8
#: Columns that a table cannot do without: any ending of theirs is taken for a unit. Of the other
#: columns only endings that are units somewhere are: 'sample_no' may be a column of the user's own.
NEEDED_COLUMNS = ("area", "yield", "amount", "rain", "temp")
UNIT_WORDS = {unit for units in SI_PER_UNIT.values() for unit in units} | {
    *("fraction", "share", "decimal", "g", "oz", "cwt", "lbs", "lbs_bu", "g_l", "kpa", "k"),
}


def doubtful_headings(
    table: CsvTable, names: Sequence[str], known: Sequence[str], units: Mapping[str, Sequence[str]]
) -> list[tuple[str, str, str, str]]:
    """Headings that look like ours and are not: heading, our column, message, remedy.

    A column of the user's own is left alone: a heading counts only where our column is absent.

    Parameters
    ----------
    names : our names of the columns; see `column_names`.
    known : our columns.
    units : units that a heading may end in, by column.
    """
    whole = {*known, *(f"{c}_{u}" for c, ends in units.items() for u in ends)}
    present = {
        c for c in known if any(n == c or n.startswith(f"{c}_") for n in names if n in whole)
    }
    absent = {c for c in known if c not in present and _column_of(c, units) not in present}
    words = {w: w for w in whole if _column_of(w, units) in absent}
    words |= {a: a for a, c in COLUMN_ALIASES.items() if _column_of(c, units) in absent}
    found = []
    for at, (heading, name) in enumerate(zip(table.columns, names, strict=True)):
        if name in whole:
            continue
        column = _column_of(name, units)
        unit = name.removeprefix(f"{column}_")
        like_unit = column in NEEDED_COLUMNS or unit in UNIT_WORDS
        if column in units and column in absent and like_unit and _holds_numbers(table, at):
            listed = ", ".join(f"{column}_{u}" for u in units[column])
            message = f'unit "{unit}" is not known'
            found.append((heading, column, message, f"name the column {listed}"))
            continue
        if column != name:
            continue
        near = difflib.get_close_matches(normalized_name(heading), words, n=1, cutoff=MISSPELT)
        if near:
            message, remedy = f'"{heading}" is not a column', f'did you mean "{near[0]}"?'
            ours = _column_of(COLUMN_ALIASES.get(near[0], near[0]), units)
            found.append((heading, ours, message, remedy))
    return found


def _column_of(name: str, units: Mapping[str, Sequence[str]]) -> str:
    """The column that a name with a unit stands for; the longest counts."""
    fitting = [c for c in units if name.startswith(f"{c}_")]
    return max(fitting, key=len, default=name)


def _holds_numbers(table: CsvTable, at: int) -> bool:
    """Whether the cells of a column that are not blank are numbers."""
    cells = [row[at] for _, row in table.rows if row[at]]
    try:
        return [read_number(c, table.mark) for c in cells] != []
    except UnreadableError:
        return False
