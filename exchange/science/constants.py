"""Every number of science, with its unit, its source and how far it was verified.

Status words: ``read`` (seen in the source's own text), ``abstract`` (seen in an abstract or a
second-hand page), ``memory`` (believed, not opened), ``practice`` (custom of the trade, no
source), ``judgement`` (our own choice), ``definition`` (fixed by convention).

A change of any value here changes the model version (see ``exchange.science.version``).
"""

from dataclasses import dataclass
from typing import Literal

Status = Literal["read", "abstract", "memory", "practice", "judgement", "definition"]


@dataclass(frozen=True)
class Constant:
    """One number: value in ``unit``, where it comes from and how far that was verified."""

    value: float
    unit: str
    source: str
    status: Status


@dataclass(frozen=True)
class LogNormalPrior:
    """A log-normal: ``median`` in ``unit``, ``sd_log`` of the natural logarithm, cut to ``low…high``."""

    median: float
    sd_log: float
    unit: str
    source: str
    status: Status
    low: float = 0.0
    high: float = float("inf")


@dataclass(frozen=True)
class BetaPrior:
    """A Beta(alpha, beta) of a proportion."""

    alpha: float
    beta: float
    source: str
    status: Status

    @property
    def mean(self) -> float:
        """Mean of the distribution, 0–1."""
        return self.alpha / (self.alpha + self.beta)


@dataclass(frozen=True)
class GammaPrior:
    """A Gamma of a daily rate: ``shape`` events seen in ``exposure_days`` (mean shape / exposure)."""

    shape: float
    exposure_days: float
    source: str
    status: Status

    @property
    def mean_per_day(self) -> float:
        """Mean rate, events a day."""
        return self.shape / self.exposure_days


# --- draws -------------------------------------------------------------------------------------

DRAW_COUNT = Constant(4000, "draws", "model version", "judgement")
SCENARIO_COUNT = Constant(128, "scenarios", "model version", "judgement")
RANGE_DRAW_COUNT = Constant(500, "draws", "for the likely range beside a mean of all draws", "judgement")
FROZEN_DRAW_COUNT = Constant(
    500, "draws", "for frozen pollen, whose table differs from day to day", "judgement"
)
DRAW_SEED = Constant(20261124, "", "model version", "judgement")

# --- viability ---------------------------------------------------------------------------------

REFERENCE_TEMPERATURE_C = Constant(4.0, "°C", "thermal age is counted at 4 °C", "definition")
HALF_LIFE_DRIED_DAYS = LogNormalPrior(
    30.0, 0.82, "d", "other plants: Hedychium 8 d, apple 65–91 d, Phalaenopsis 40 weeks", "judgement"
)
HALF_LIFE_FRESH_DAYS = LogNormalPrior(
    5.0, 0.82, "d", "other plants: undried Dendrobium dead at 23 d at 4 °C", "judgement"
)
HALF_LIFE_FROZEN_DAYS = LogNormalPrior(
    180.0, 1.2, "d", "other plants, dried and frozen, from thaw to use; not known for Nymphaea", "judgement"
)
SHAPE = LogNormalPrior(
    0.85, 0.26, "", "Ćalić et al. 2021, Front. Plant Sci. 12:709231, table 2 (apple)", "judgement", 0.3, 2.0
)
Q10 = LogNormalPrior(
    2.2, 0.234, "", "between apple (Ćalić et al. 2021) and seeds (Dickie et al. 1990)", "judgement"
)
INITIAL_VIABILITY_LOW = BetaPrior(
    1.2, 4.0, "hardy 3.3–33.9 %, colorata 19.3 %: abstracts, e.g. Sun et al. 2018", "abstract"
)
INITIAL_VIABILITY_WIDE = BetaPrior(
    1.0, 1.0, "N. nouchali var. versicolor 80–93 %, Bodhipadma et al. 2013", "abstract"
)
LIVE_EFFECT_RATE = LogNormalPrior(2.0, 0.9, "", "germination is not seed set; Lora et al. 2006", "judgement")

DRYING_HOURS = Constant(24.0, "h", "growers dry 12–48 h before chilling", "judgement")
DRYING_TEMPERATURE_C = Constant(22.0, "°C", "a dry room", "judgement")
STORE_TEMPERATURE_C = Constant(4.0, "°C", "a household refrigerator, at both ends", "judgement")
FREEZER_TEMPERATURE_C = Constant(-18.0, "°C", "a household freezer", "practice")
COLDER_TEMPERATURE_C = Constant(-80.0, "°C", "a laboratory freezer", "practice")
COLLECTED_HOUR = Constant(9.0, "h", "local hour of collecting where none is stated", "judgement")
FELT_COLD_C = Constant(4.0, "°C", "a packet that felt cold", "judgement")
FELT_COOL_C = Constant(14.0, "°C", "a packet that felt cool", "judgement")
FELT_WARM_C = Constant(26.0, "°C", "a packet that felt warm", "judgement")
SWITCHED_OFF_TEMPERATURE_C = Constant(22.0, "°C", "a store without power, a room", "judgement")
LEFT_OUT_TEMPERATURE_C = Constant(26.0, "°C", "out of its store on a warm day", "judgement")
LONGEST_OUTLOOK_DAYS = Constant(7300.0, "d", "dates beyond twenty years are not named", "judgement")

# --- deciding dates ----------------------------------------------------------------------------

READY_CHANCE_MINIMUM = Constant(0.05, "", "least chance that pollen is ready on a posting day", "judgement")
GOOD_DAY_FRACTION = Constant(
    0.8, "", "a good day has at least this share of the best day's chance", "judgement"
)
HORIZON_DAYS = Constant(120, "d", "days ahead on which a posting day is named", "judgement")
SEASON_HORIZON_DAYS = Constant(270, "d", "days ahead over which a chance is reckoned", "judgement")
PRECISE_BLOOM_SD_DAYS = Constant(
    12.0, "d", "a recipient's bloom known worse gives weeks, no dates", "judgement"
)
FROZEN_UNTIL_DAYS = Constant(
    45, "d", "a frozen lot is not posted earlier than this before the first flower may open", "judgement"
)
WEAK_SHARE = Constant(
    0.5, "", "of the best two plants could give; below it a change is looked for", "judgement"
)
OTHER_DIRECTION_RATIO = Constant(3.0, "", "the reverse cross takes this much more often: say so", "judgement")
WORTHWHILE_GAIN = Constant(1.25, "", "a change that gains less is not worth telling", "judgement")
PRUNING_SHARE = Constant(0.4, "", "pairs under this share of the least chance are not planned", "judgement")
PAIRS_PLANNED = Constant(64, "pairs", "pairs of one wanted cross that are planned in full", "judgement")
NEAR_POSTING_DAYS = Constant(
    3, "d", "pollen ready so many days off a day counts for it in ranking", "judgement"
)
LONGEST_CLOSED_RUN_DAYS = Constant(
    14, "d", "a post closed for longer is treated as closed for this", "judgement"
)
LOW_QUANTILE = Constant(
    0.1, "", "the unfavourable case of a deadline and the lower end of a range", "judgement"
)
BEST_BEFORE_EFFECT = Constant(0.5, "", "10 % quantile of the live effect", "judgement")
WORTH_TRYING_EFFECT = Constant(0.1, "", "mean live effect", "judgement")
NEGLIGIBLE_EFFECT = Constant(1e-4, "", "mean live effect below which waiting stops", "judgement")
STAY_BONUS = Constant(
    0.02, "", "share of its value by which a pairing proposed before beats an equal new one", "judgement"
)
ALLOCATION_UNITS = Constant(1e6, "", "values of doses are compared in whole millionths", "definition")

# --- assays ---
Q10_NODES = Constant(24.0, "nodes", "ages of all draws from so many: error below 1e-12, tested", "judgement")
REPLICATE_CORRELATION = Constant(
    0.02, "", "correlation of grains in one replicate; pollen clumps, no source", "judgement"
)
REPLICATED_ASSAYS_NEEDED = Constant(
    30, "assays", "replicated assays before their own correlation is used", "judgement"
)
EFFECTIVE_SAMPLE_MINIMUM = Constant(400, "draws", "below it the draws are made anew once", "judgement")
REDRAW_SD_FACTOR = Constant(
    2.0, "", "the new draws spread this much wider than the weighted ones", "judgement"
)
REDRAW_MOMENT_SAMPLE = Constant(
    10, "draws", "effective sample that mean and spread of the new draws must rest on", "judgement"
)
LIFE_SHARPENED_RATIO = Constant(
    0.95, "", "sd of log half-life after / before below which an assay has told of the life left", "judgement"
)
LOW_VIABILITY = Constant(0.05, "", "median viability below it is a warning, never a factor", "judgement")
REPLICATE_TOLERANCE_SIGNIFICANCE = Constant(
    0.025, "", "reproduces 7 CFR 201.55 within 1 point with the formula of Miles 1963", "judgement"
)
GRAINS_PER_REPLICATE_ADVISED = Constant(
    100, "grains", "seed rules count hundreds; no count that is enough was found for pollen", "judgement"
)
REPLICATES_ADVISED = Constant(3, "replicates", "of different anthers; no standard was found", "judgement")
REPLICATES_FULL = Constant(
    4, "replicates", "a full seed test, 4 × 100: 7 CFR 201.55 makes it again, adds nothing to it", "judgement"
)

# --- temperature ---
HOURS_PER_DAY = Constant(24.0, "h", "the day", "definition")
KELVIN_OFFSET = Constant(273.15, "K", "0 °C in kelvin, International System of Units", "definition")
GAS_CONSTANT = Constant(
    8.314462618, "J/(mol K)", "CODATA 2018, exact in the SI to these digits", "definition"
)
FREEZING_C = Constant(
    0.0, "°C", "no rate credited below it until the lot is tested after freezing", "judgement"
)
READING_MINIMUM_C = Constant(-90.0, "°C", "readings below it are rejected and listed", "judgement")
READING_MAXIMUM_C = Constant(60.0, "°C", "readings above it are rejected and listed", "judgement")
HEAT_LIMIT_C = Constant(35.0, "°C", "above it the rate is extrapolated", "judgement")
HEAT_LIMIT_HOURS = Constant(1.0, "h", "time above the heat limit that makes a lot doubtful", "judgement")
KINETIC_ACTIVATION_ENERGY = Constant(
    83_144.0, "J/mol", "USP 29-NF 24, chapter 1160: unless better data exist (drugs, not pollen)", "read"
)
SEED_TEMPERATURE_LINEAR = Constant(
    0.0329, "1/°C", "C_H, Dickie et al. 1990, Ann. Bot. 65:197–204, as quoted; seeds, not pollen", "abstract"
)
SEED_TEMPERATURE_SQUARE = Constant(
    0.000478,
    "1/°C²",
    "C_Q, Dickie et al. 1990, Ann. Bot. 65:197–204, as quoted; seeds, not pollen",
    "abstract",
)
BARLEY_INTERCEPT = Constant(9.983, "", "K_E, Ellis & Roberts 1980, Ann. Bot. 45:13–30", "memory")
BARLEY_MOISTURE = Constant(5.896, "", "C_W, Ellis & Roberts 1980, Ann. Bot. 45:13–30", "memory")
BARLEY_TEMPERATURE_LINEAR = Constant(0.040, "1/°C", "C_H, Ellis & Roberts 1980, Ann. Bot. 45:13–30", "memory")
BARLEY_TEMPERATURE_SQUARE = Constant(
    0.000428, "1/°C²", "C_Q, Ellis & Roberts 1980, Ann. Bot. 45:13–30", "memory"
)
TEOSINTE_POTENTIAL_MPA = Constant(
    -4.13, "MPa", "Aylor et al. 2005, J. Exp. Bot., doi 10.1093/jxb/eri232, at full water content", "abstract"
)
TEOSINTE_POTENTIAL_POWER = Constant(
    -1.23, "", "Aylor et al. 2005, J. Exp. Bot., doi 10.1093/jxb/eri232", "abstract"
)

# --- parcel ---

LATENT_HEAT_ICE_J_KG = Constant(
    334_000.0, "J/kg", "teaching notebook on coolers, 334 J/g; 144 BTU/lb = 334.9 kJ/kg", "read"
)
HEAT_CAPACITY_WATER_J_KG_K = Constant(4186.0, "J/(kg K)", "liquid water, handbook value", "memory")
HEAT_CAPACITY_ICE_J_KG_K = Constant(2100.0, "J/(kg K)", "ice near 0 °C, handbook value", "memory")
ICE_DENSITY_KG_L = Constant(0.917, "kg/L", "ice at 0 °C, handbook value", "memory")
CONDUCTIVITY_EPS_W_M_K = Constant(
    0.035, "W/(m K)", "expanded polystyrene 0.033–0.040; a trade page: R 3.6–4.2 per inch", "memory"
)
CONDUCTIVITY_POLYURETHANE_W_M_K = Constant(0.024, "W/(m K)", "foam, 0.020–0.028", "memory")
CONDUCTIVITY_VACUUM_PANEL_W_M_K = Constant(0.006, "W/(m K)", "intact panel 0.004–0.008", "memory")
CONDUCTIVITY_PADDING_W_M_K = Constant(0.04, "W/(m K)", "air-filled padding, near still air", "judgement")
DEFAULT_BOX_INSIDE_CM = Constant(10.0, "cm", "edge of a cube of 1 litre", "judgement")
DEFAULT_BOX_WALL_CM = Constant(3.0, "cm", "common mail-order foam box", "judgement")
DEFAULT_ICE_KG = Constant(0.5, "kg", "fills half of a litre, leaves room for packet and card", "judgement")
DEFAULT_PAYLOAD_KG = Constant(0.1, "kg", "tubes, silica gel and card", "judgement")
DEFAULT_PAYLOAD_HEAT_J_KG_K = Constant(1500.0, "J/(kg K)", "plastics and paper together", "judgement")
ICE_MELTING_C = Constant(0.0, "°C", "water ice", "definition")
ENVELOPE_INSIDE_CM = Constant(15.0, "cm", "edge of a padded envelope", "judgement")
ENVELOPE_THICKNESS_CM = Constant(1.0, "cm", "room for a flat packet", "judgement")
ENVELOPE_WALL_CM = Constant(0.5, "cm", "padding", "judgement")
ENVELOPE_PAYLOAD_KG = Constant(0.01, "kg", "a flat packet and a note", "judgement")
FREE_INSIDE_SHARE = Constant(0.3, "", "inside kept free of ice for packet, air and card", "judgement")
VEHICLE_WARMING_K = Constant(5.0, "K", "vans and depots above the outdoor mean", "judgement")
HEAT_CLASS_STEP_K = Constant(2.5, "K", "routes are grouped by ambient temperature", "judgement")

# --- transit ---

TRANSIT_PRIOR_PARCELS = Constant(6.0, "parcels", "weight of the prior of a lane", "judgement")
TRANSIT_LOST_SHARE = Constant(0.01, "", "parcels that never arrive, before the lane is known", "judgement")
TRANSIT_GAMMA_SHAPE = Constant(2.0, "", "skew of the delay beyond the fastest parcel", "judgement")
TRANSIT_FASTEST_SHARE = Constant(
    0.5, "", "fastest parcel takes this share of the promised business days", "judgement"
)
TRANSIT_ON_TIME_SHARE = Constant(
    0.75,
    "",
    "near a textbook case: 81 % (express) and 75 % (priority) on time door to door, 94 and 87 % claimed",
    "judgement",
)
TRANSIT_KM_PER_EXTRA_DAY = Constant(
    10_000.0, "km", "one more business day for this distance: more handovers on the way", "judgement"
)
PROMISED_DAYS_HOME = Constant(2.0, "business days", "a parcel inside one country", "judgement")
PROMISED_DAYS_ABROAD = Constant(5.0, "business days", "an air parcel across a border", "judgement")
CUSTOMS_DELAY_DAYS = Constant(2, "d", "a parcel held at a border, papers in order", "judgement")
TRANSIT_SLOW_PROBABILITY = Constant(0.9, "", "quantile of the slow case of a deadline", "judgement")

# --- bloom ---

PLANT_SD_DAYS = Constant(10.0, "d", "between plants of a cultivar or group at one site", "judgement")
YEAR_SD_DAYS = Constant(7.0, "d", "between years of one plant, first and last bloom alike", "judgement")
SAID_MONTH_SD_DAYS = Constant(12.0, "d", "grower said early, mid or late in a month", "judgement")
SAID_DATE_SD_DAYS = Constant(7.0, "d", "grower said a date", "judgement")
CLIMATE_SD_DAYS = Constant(20.0, "d", "16 °C misses known seasons by -18 to +42 d", "judgement")
HEMISPHERE_SD_DAYS = Constant(30.0, "d", "hemisphere and group alone", "judgement")
PRIOR_MEAN_SD_MINIMUM_DAYS = Constant(
    3.5, "d", "half the year sd: what was said never outweighs all records", "judgement"
)
SEEN_SD_DAYS = Constant(1.0, "d", "first or last bloom seen by a grower who looks daily", "judgement")
HEMISPHERE_HARDY_FIRST_DAY = Constant(152.0, "day of year", "hardy, north: June", "judgement")
HEMISPHERE_HARDY_LAST_DAY = Constant(243.0, "day of year", "hardy, north: to the end of August", "judgement")
HEMISPHERE_TROPICAL_FIRST_DAY = Constant(182.0, "day of year", "other groups, north: July", "judgement")
HEMISPHERE_TROPICAL_LAST_DAY = Constant(273.0, "day of year", "other groups, north: to 30 Sept.", "judgement")
SOUTHERN_SHIFT_DAYS = Constant(182.0, "d", "the same season half a year later", "definition")
TROPIC_LATITUDE_DEG = Constant(23.44, "°", "tropics: a hemisphere says nothing of the season", "definition")
UNKNOWN_SEASON_LENGTH_DAYS = Constant(91.0, "d", "length of the hemisphere's season", "judgement")
BUD_UNDER_WATER_LAG_DAYS = Constant(
    12.0, "d", "bud under water to first flower; no series found", "judgement"
)
BUD_UNDER_WATER_LAG_SD_DAYS = Constant(6.0, "d", "wide: no series found", "judgement")
BUD_AT_SURFACE_LAG_DAYS = Constant(
    4.0, "d", "bud at the surface to first flower; no series found", "judgement"
)
BUD_AT_SURFACE_LAG_SD_DAYS = Constant(3.0, "d", "wide: no series found", "judgement")
BUD_SHOWING_COLOUR_LAG_DAYS = Constant(2.0, "d", "bud showing colour to first flower", "judgement")
BUD_SHOWING_COLOUR_LAG_SD_DAYS = Constant(1.5, "d", "wide: no series found", "judgement")
BUD_LOOK_CHANCE = Constant(0.7, "", "a grower looks for buds on a day and reports one in sight", "judgement")
FLOWERING_CHANCE_CLIMATE = Constant(0.85, "", "flowers at all, known from climate only", "judgement")
FLOWERING_CHANCE_HEMISPHERE = Constant(0.7, "", "flowers at all, known from hemisphere only", "judgement")
WEAK_MONTH_FACTOR = Constant(0.3, "", "rate of a weak month against a good one", "judgement")
SEASON_RESULTANT_MINIMUM = Constant(0.5, "", "first blooms more spread than this have no season", "judgement")
SHORTEST_SEASON_DAYS = Constant(7.0, "d", "least length once a bud or flower was seen", "judgement")
WEATHER_SHIFT_MAXIMUM_DAYS = Constant(21.0, "d", "most that weather may shift the first bloom", "judgement")
WEATHER_CORRELATION = Constant(0.5, "", "error of records against error of degree days", "judgement")
CALIBRATION_FORECASTS_MINIMUM = Constant(20, "forecasts", "fewer say nothing of calibration", "judgement")

# --- flower ---

FLOWER_DAYS = Constant(3.0, "d", "N. odorata: Schneider & Chaney 1981, doi 10.2307/3671112", "abstract")
POLLEN_DAYS = Constant(2.0, "d", "N. odorata sheds on days 2–3: Schneider & Chaney 1981", "abstract")
FLOWER_DAYS_MAXIMUM = Constant(
    7.0, "d", "some N. gigantea forms: victoria-adventure.org, introduction", "read"
)
RATE_HARDY = GammaPrior(2.0, 8.0, "new flowers per crown and day, mean 0.25; no published count", "judgement")
RATE_DAY_TROPICAL = GammaPrior(2.0, 3.0, "mean 0.67: often 3 or more open at once", "judgement")
RATE_NIGHT_TROPICAL = GammaPrior(2.0, 4.0, "mean 0.5, between hardy and day tropical", "judgement")
RATE_VICTORIA = GammaPrior(
    2.0, 28.0, "V. cruziana, 1 in 14 d: Cambridge University Botanic Garden, video caption", "judgement"
)
RATE_NELUMBO = GammaPrior(2.0, 8.0, "as hardy: no count found", "judgement")

# --- pond ---

STEFAN_INTERCEPT_C = Constant(
    5.0, "°C", "Stefan & Preud'homme 1993, Water Resour. Bull. 29:27-45, as printed in SWAT's source", "read"
)
STEFAN_SLOPE = Constant(0.75, "°C/°C", "Stefan & Preud'homme 1993, as printed in SWAT's source", "read")
STEFAN_LOWEST_C = Constant(0.1, "°C", "Stefan & Preud'homme 1993, as printed in SWAT's source", "read")
POND_INTERCEPT_C = Constant(
    -0.5, "°C", "near Neusiedl, Toffolon et al. 2014, Limnol. Oceanogr. 59:2185-2202, table 4", "judgement"
)
POND_SLOPE = Constant(1.06, "°C/°C", "near Neusiedl, Toffolon et al. 2014, table 4", "judgement")
POND_LOWEST_C = Constant(0.0, "°C", "water under ice", "definition")
EQUILIBRIUM_HIGHEST_C = Constant(
    34.0, "°C", "evaporation bends the line when hot; place of the cut is ours", "judgement"
)
RESPONSE_TUB_DAYS = Constant(2.0, "d", "heat balance of water under 0.6 m", "judgement")
RESPONSE_POND_DAYS = Constant(4.0, "d", "heat balance of water of 0.6-1.5 m", "judgement")
RESPONSE_LARGE_DAYS = Constant(6.0, "d", "near Neusiedl's 5.85 d; water deeper than 1.5 m", "judgement")
TUB_DEPTH_BELOW_M = Constant(0.6, "m", "shallower water is a tub", "judgement")
POND_DEPTH_UP_TO_M = Constant(1.5, "m", "deeper water is large", "judgement")
CLIMATE_HARMONICS = Constant(3, "harmonics", "annual, half-yearly and third-yearly wave of air", "judgement")
SEASON_RUN_DAYS = Constant(7, "d", "days in a row above a threshold; one warm day is noise", "judgement")
HARDY_START_WATER_C = Constant(
    16.0, "°C", "about 60 °F in a popular article, biologyinsights.com, unsourced", "judgement"
)
HARDY_END_WATER_C = Constant(15.0, "°C", "one degree below the start", "judgement")
TROPICAL_START_WATER_C = Constant(21.0, "°C", "70 °F, planting rule of trade pages", "judgement")
TROPICAL_END_WATER_C = Constant(20.0, "°C", "dormant below 21 °C by trade pages", "judgement")
TROPICAL_START_DELAY_DAYS = Constant(14.0, "d", "growth before the first flower", "judgement")
LOTUS_START_WATER_C = Constant(23.0, "°C", "leaves at 23-30 °C, ipagriculture.com", "judgement")
LOTUS_END_WATER_C = Constant(20.0, "°C", "hard to bloom below 20 °C by a trade page", "judgement")
LOTUS_START_DELAY_DAYS = Constant(21.0, "d", "growth before the first flower", "judgement")
LOTUS_END_DAY_LENGTH_HOURS = Constant(
    13.0, "h", "rhizomes rest under short days, Tomiyoshi et al., Acta Hort. 1171, article 12", "abstract"
)

# --- compatibility ---

CLONE_CONCENTRATION = Constant(5.0, "", "spread of clone pairs round their groups' mean, K", "judgement")
GROUP_MEAN_NODES = Constant(200, "nodes", "grid over the mean of an ordered pair of groups", "judgement")
COMPATIBILITY_NODES = Constant(401, "nodes", "grid over the compatibility of a pair of clones", "judgement")
STERILE_FACTOR = Constant(0.0, "", "proof of sterility: no carpels, no anthers, never a fruit", "judgement")
POOR_FERTILITY_FACTOR = Constant(
    0.2, "", "0.2 × mean 0.2 of Lotos meets the 3.33 and 5 % with N. rubra, Khaenthong et al.", "judgement"
)
HARDY_HEAT_LIMIT_C = Constant(30.0, "°C", "week's mean water above which hardy lilies set poorly", "practice")
HEAT_FACTOR = Constant(
    0.3,
    "",
    "size is custom; direction: Strawn, Water lily hybridization (hardies sterile in heat)",
    "practice",
)
CHROMOSOME_FACTOR = Constant(
    0.8, "", "parents of different 2n; not lower, N. gigantea crosses work", "practice"
)
CONTROL_BOTH = Constant(1.0, "", "success after emasculation in bud and bagging", "judgement")
CONTROL_ONE = Constant(0.7, "", "success after one of emasculation in bud and bagging", "judgement")
CONTROL_NEITHER = Constant(0.3, "", "success with neither stated: may be a self or an insect", "judgement")
REPORTED_SUCCESS = Constant(0.9, "", "share of capsules that growers report unasked", "judgement")
REPORTED_FAILURE = Constant(0.6, "", "share of failures that growers report unasked", "judgement")
BASE_CHROMOSOME_NUMBER = Constant(14, "chromosomes", "x of Nymphaea outside Hydrocallis", "memory")
GERMINATION_BETWEEN_GROUPS = BetaPrior(
    1.6, 8.4, "39 of 244 seeds, Songpanich & Hongtrakul 2010, Sci. Hortic. 124:475-481", "abstract"
)
GERMINATION_WITHIN_GROUP = BetaPrior(5.0, 5.0, "custom of the trade, no count found", "practice")

# --- kinship ---

KINSHIP_WARNING = Constant(0.125, "", "disomic F of the offspring, as of half sibs", "judgement")
KINSHIP_STRONG_WARNING = Constant(0.25, "", "disomic F of the offspring, as of full sibs", "judgement")

# --- logger files ---

LOGGER_FILE_BYTES = Constant(20_000_000, "bytes", "500,000 lines of 40 characters", "judgement")
LOGGER_ROWS = Constant(500_000, "lines", "most lines of a file", "judgement")
LOGGER_CELLS = Constant(4_000_000, "cells", "eight columns in each of the lines", "judgement")
LOGGER_LINE_CHARACTERS = Constant(4_000, "characters", "longest line of a file", "judgement")
LOGGER_FIRST_YEAR = Constant(1970, "year", "a reading dated before it has a broken clock", "judgement")
LOGGER_LAST_YEAR = Constant(2099, "year", "two digits of a year mean this century", "judgement")
LOGGER_UNREADABLE_SHARE = Constant(
    0.05, "", "more rows left out than this share, and the file is refused", "judgement"
)
LOGGER_UNREADABLE_ROWS = Constant(2, "rows", "so few may always be left out: a footer, a stop", "judgement")
LOGGER_GAP_INTERVALS = Constant(1.5, "", "times the median interval: longer is a gap", "judgement")
LOGGER_MARKED_GAP_HOURS = Constant(1.0, "h", "longer gaps are unknown, not interpolated", "judgement")
LOGGER_MARKED_GAP_INTERVALS = Constant(3.0, "", "as hours; the longer of the two counts", "judgement")
LOGGER_STEEP_C_PER_MINUTE = Constant(
    10.0, "°C/min", "faster than a logger of minutes can follow air", "judgement"
)
LOGGER_STEEP_CHANGE_C = Constant(5.0, "°C", "a smaller step is noise or rounding, however quick", "judgement")
LOGGER_FAHRENHEIT_LOW = Constant(33.0, "", "a chilled parcel in °F reads 33–50", "judgement")
LOGGER_FAHRENHEIT_HIGH = Constant(50.0, "", "a chilled parcel in °F reads 33–50", "judgement")
LOGGER_FAHRENHEIT_NEVER_BELOW = Constant(20.0, "", "a chilled parcel in °C reads below it", "judgement")
FAHRENHEIT_ZERO = Constant(32.0, "°F", "0 °C", "definition")
FAHRENHEIT_DEGREES = Constant(1.8, "°F/°C", "degrees Fahrenheit to one of Celsius", "definition")
CHILLED_MAXIMUM_C = Constant(8.0, "°C", "limits 2–8 °C, USP chapter 659 (drugs, not pollen)", "memory")
