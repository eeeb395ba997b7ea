"""Sufficiency rows as their publications print them, transcribed a second time, apart from the shipped tables.

Data only. A row stands here in the unit and words of its source, one analyte to a row, under the id that the
shipped tables use too. "recalled" rows were recalled in both transcriptions and say so. Rows that the program
does not ship are here as well, with the reason in `LEFT_OUT`.
"""

from __future__ import annotations

from typing import NamedTuple

Limit = float | tuple[float, float] | None
"""A limit as printed: a figure, a pair where the source gives only a range for it, or None."""


class PrintedRow(NamedTuple):
    """One analyte at one place, as printed.

    Attributes:
        id: stable key of the row.
        crop, where, part: words of the source for crop and variety, system and region, tissue and its position.
        basis: dry, sap, or what else the source prints.
        analyte, unit: as printed; "total N" is written N.
        place: stage, week or month as printed.
        low, high, deficient_below, excess_above: limits, both ends of low to high included.
        evidence: published, recalled or derived.
        confidence: of a recalled row.
        sources: keys of the citations.
    """

    id: str
    crop: str
    where: str
    part: str
    basis: str
    analyte: str
    unit: str
    place: str
    low: Limit
    high: Limit
    deficient_below: Limit
    excess_above: Limit
    evidence: str
    confidence: str | None
    sources: tuple[str, ...]


class Kind(NamedTuple):
    """What the rows of one printed table share."""

    section: str
    crop: str
    where: str
    part: str
    basis: str
    unit: str
    sources: tuple[str, ...]
    evidence: str = "published"
    confidence: str | None = None

    def row(
        self,
        number: int | str,
        analyte: str,
        place: str,
        low: Limit = None,
        high: Limit = None,
        deficient: Limit = None,
        excess: Limit = None,
    ) -> PrintedRow:
        id_ = f"{self.section}-{number:02}" if isinstance(number, int) else f"{self.section}-{number}"
        return PrintedRow(
            id_,
            self.crop,
            self.where,
            self.part,
            self.basis,
            analyte,
            self.unit,
            place,
            low,
            high,
            deficient,
            excess,
            self.evidence,
            self.confidence,
            self.sources,
        )

    def run(self, first: int, analyte: str, *rows: tuple[str, Limit, Limit]) -> list[PrintedRow]:
        """Rows (place, low, high) of one analyte, numbered on from the first."""
        return [self.row(first + step, analyte, *figures) for step, figures in enumerate(rows)]


def derived(kind: Kind) -> Kind:
    return kind._replace(evidence="derived", confidence=None)


# --- Fresh petiole sap, Florida: UF-CV004 (recalled, high), watermelon by SCG-WM and UF-WM21 (published) ---


def _florida(crop: str, where: str = "field, Florida") -> Kind:
    part = "petiole of most recently matured leaf"
    return Kind("X11", crop, where, part, "sap", "mg/L", ("UF-CV004",), "recalled", "high")


def _quoted(crop: str, source: str) -> Kind:
    return _florida(crop)._replace(evidence="published", confidence=None, sources=(source,))


_TOMATO, _HOUSE = _florida("tomato"), _florida("tomato", "greenhouse, Florida")
_PEPPER, _EGGPLANT, _CUCUMBER = _florida("pepper"), _florida("eggplant"), _florida("cucumber")
_MUSKMELON, _SQUASH, _POTATO = _florida("muskmelon"), _florida("squash"), _florida("potato")
_BROCCOLI, _SEEDED = _florida("broccoli, collard"), _florida("watermelon, seeded")
_BUDS, _FLOWERS, _FIRST, _SECOND = "first buds", "first open flowers", "first harvest", "second harvest"
_VINES, _FIVE_POUNDS = "vines 6 in long / first flower", "fruits half mature (about 5 lb)"

FLORIDA_SAP = [
    *_TOMATO.run(
        1,
        "NO3-N",
        (_BUDS, 1000, 1200),
        (_FLOWERS, 600, 800),
        ("fruits 1-inch diameter", 400, 600),
        ("fruits 2-inch diameter", 400, 600),
        (_FIRST, 300, 400),
        (_SECOND, 200, 400),
    ),
    *_HOUSE.run(
        7,
        "NO3-N",
        ("transplant to 2nd fruit cluster", 1000, 1200),
        ("2nd to 5th cluster", 800, 1000),
        ("harvest season (December-June)", 700, 900),
    ),
    *_PEPPER.run(
        10,
        "NO3-N",
        ("first flower buds", 1400, 1600),
        (_FLOWERS, 1400, 1600),
        ("fruits half-grown", 1200, 1400),
        (_FIRST, 800, 1000),
        (_SECOND, 500, 800),
    ),
    *_EGGPLANT.run(
        15,
        "NO3-N",
        ("first fruit (2 in long)", 1200, 1600),
        (_FIRST, 1000, 1200),
        ("mid harvest", 800, 1000),
    ),
    *_CUCUMBER.run(18, "NO3-N", ("first blossom", 800, 1000), ("fruits 3 in long", 600, 800), (_FIRST, 400, 600)),
    *_MUSKMELON.run(
        21, "NO3-N", ("first blossom", 1000, 1200), ("fruits 2 in long", 800, 1000), (_FIRST, 700, 800)
    ),
    _quoted("watermelon", "SCG-WM").row(24, "NO3-N", _VINES, 1200, 1500),
    *_quoted("watermelon, seeded", "UF-WM21").run(
        25, "NO3-N", ("fruits 2 in", 1000, 1200), (_FIVE_POUNDS, 800, 1000), (_FIRST, 600, 800)
    ),
    *_quoted("watermelon, seedless", "UF-WM21").run(
        28, "NO3-N", ("fruits 2 in", 900, 1100), ("fruits half mature", 600, 800), (_FIRST, 400, 600)
    ),
    *_SQUASH.run(31, "NO3-N", ("first blossom", 900, 1000), (_FIRST, 800, 900)),
    *_POTATO.run(
        33,
        "NO3-N",
        ("plants 8 in tall", 1200, 1400),
        (_FLOWERS, 1000, 1400),
        ("50 % flowers open", 1000, 1200),
        ("100 % flowers open", 900, 1200),
        ("tops falling over", 600, 900),
    ),
    *_BROCCOLI.run(
        38,
        "NO3-N",
        ("six-leaf", 800, 1000),
        ("one week before first harvest", 500, 800),
        (_FIRST, 300, 500),
    ),
    *_TOMATO.run(
        41,
        "K",
        (_BUDS, 3500, 4000),
        (_FLOWERS, 3500, 4000),
        ("fruits 1-inch diameter", 3000, 3500),
        ("fruits 2-inch diameter", 3000, 3500),
        (_FIRST, 2500, 3000),
        (_SECOND, 2000, 2500),
    ),
    *_HOUSE.run(
        47,
        "K",
        ("transplant to 2nd fruit cluster", 4500, 5000),
        ("2nd to 5th cluster", 4000, 5000),
        ("harvest season (December-June)", 3500, 4000),
    ),
    *_PEPPER.run(
        50,
        "K",
        ("first flower buds", 3200, 3500),
        (_FLOWERS, 3000, 3200),
        ("fruits half-grown", 3000, 3200),
        (_FIRST, 2400, 3000),
        (_SECOND, 2000, 2400),
    ),
    *_EGGPLANT.run(
        55, "K", ("first fruit (2 in long)", 4500, 5000), (_FIRST, 4000, 4500), ("mid harvest", 3500, 4000)
    ),
    _quoted("watermelon", "SCG-WM").row(58, "K", _VINES, 4000, 5000),
    *_SEEDED.run(59, "K", ("fruits 2 in", 4000, 5000), (_FIVE_POUNDS, 3500, 4000), (_FIRST, 3000, 3500)),
    *_POTATO.run(
        62,
        "K",
        ("plants 8 in tall", 4500, 5000),
        (_FLOWERS, 4500, 5000),
        ("50 % flowers open", 4000, 4500),
        ("100 % flowers open", 3500, 4000),
        ("tops falling over", 2500, 3000),
    ),
]

# --- Fresh petiole sap, Michigan: MSU, printed as NO3; rows 6-10 are the same times 0.2259 ---

_MICHIGAN = "field, Michigan; compiled from California, Florida and Michigan guidance"
_MSU_MELON = Kind("X12", "cantaloupe / muskmelon", _MICHIGAN, "petiole", "sap", "mg/L", ("MSU",))
_MSU_WATERMELON = _MSU_MELON._replace(crop="watermelon")

MICHIGAN_SAP = [
    *_MSU_MELON.run(1, "NO3", ("early flower", 4300, 5150), ("fruit bulking", 3400, 4300), (_FIRST, 3000, 3400)),
    *_MSU_WATERMELON.run(4, "NO3", ("early flower", 3900, 4700), ("fruit bulking", 3000, 3900)),
    *derived(_MSU_MELON).run(
        6, "NO3-N", ("early flower", 971, 1163), ("fruit bulking", 768, 971), (_FIRST, 678, 768)
    ),
    *derived(_MSU_WATERMELON).run(9, "NO3-N", ("early flower", 881, 1062), ("fruit bulking", 678, 881)),
]

# --- Other fresh petiole sap: JP-TOM, KR-CUC and BR-COT (published), UMN (recalled, medium) ---

_JAPAN = Kind(
    "X13",
    "tomato",
    "greenhouse, Japan",
    "petiole of the leaf just below the 1st truss",
    "sap",
    "mg/L",
    ("JP-TOM",),
)
_KOREA = Kind("X13", "cucumber", "semi-forcing, Korea", "petiole", "sap", "mg/L", ("KR-CUC",))
_BRAZIL = Kind("X13", "cotton", "Brazil, field", "petiole", "sap", "mg/L", ("BR-COT",))
_MINNESOTA_SAP = Kind(
    "X13",
    "potato, Russet Burbank",
    "field, Minnesota",
    "petiole",
    "sap",
    "mg/L",
    ("UMN",),
    "recalled",
    "medium",
)
_SQUARE_TO_FLOWER = "1 week after pinhead square to 3rd week of flowering"

OTHER_SAP = [
    _JAPAN.row(1, "NO3", "whole crop", 4000, 7000),
    derived(_JAPAN).row(2, "NO3-N", "whole crop", 904, 1581),
    _KOREA.row(3, "NO3", "early growth", 3500, 4500),
    _KOREA.row(4, "NO3", "after early growth", 2000, 3000),
    _KOREA.row(5, "K", "after early growth", 5000, 7000),
    derived(_KOREA).row(6, "NO3-N", "early growth", 791, 1017),
    derived(_KOREA).row(7, "NO3-N", "after early growth", 452, 678),
    _BRAZIL.row(8, "NO3", _SQUARE_TO_FLOWER, 8000),
    derived(_BRAZIL).row(9, "NO3-N", _SQUARE_TO_FLOWER, 1807),
    _MINNESOTA_SAP.row(10, "NO3-N", "vegetative / tuberization", 1200, 1600),
    _MINNESOTA_SAP.row(11, "NO3-N", "tuber bulking", 800, 1100),
    _MINNESOTA_SAP.row(12, "NO3-N", "maturation", 400, 700),
]

# --- Dry petiole or midrib, California: L&T, recalled; deficient below one figure, sufficient from another ---


def _california(
    number: int, crop: str, part: str, place: str, deficient: float, low: float, confidence: str = "medium"
) -> PrintedRow:
    where = "irrigated field, California"
    kind = Kind("X21", crop, where, part, "dry", "ppm", ("L&T",), "recalled", confidence)
    return kind.row(number, "NO3-N", place, low, None, deficient)


_PROCESSING, _CHERRY = "tomato, processing / determinate fresh", "tomato, cherry"
_FOURTH, _SIXTH = "petiole of 4th leaf from tip", "petiole of 6th leaf from tip"
_YOUNG, _MIDRIB = "petiole of young mature leaf", "midrib of young mature leaf"
_WRAPPER, _NEWEST = "midrib of wrapper leaf", "petiole of newest fully elongated leaf"

CALIFORNIA_DRY = [
    _california(1, _PROCESSING, _FOURTH, "early bloom", 8000, 12000),
    _california(2, _PROCESSING, _FOURTH, "fruit 1 in", 6000, 10000),
    _california(3, _PROCESSING, _FOURTH, "first colour", 2000, 4000),
    _california(4, _CHERRY, _FOURTH, "early fruit set", 8000, 10000, "low"),
    _california(5, _CHERRY, _FOURTH, "fruit 1/2 in", 5000, 7000, "low"),
    _california(6, _CHERRY, _FOURTH, "at harvest", 1000, 2000, "low"),
    _california(7, "pepper, sweet", _YOUNG, "early growth, first bloom", 8000, 12000),
    _california(8, "pepper, sweet", _YOUNG, "fruit 3/4 size", 2000, 3000, "low"),
    _california(9, "pepper, chili", _YOUNG, "early growth, first bloom", 5000, 7000),
    _california(10, "pepper, chili", _YOUNG, "early fruit set", 1000, 2000),
    _california(11, "cantaloupe", _SIXTH, "early growth (short runners)", 8000, 12000),
    _california(12, "cantaloupe", _SIXTH, "early fruit", 5000, 9000),
    _california(13, "cantaloupe", _SIXTH, "first mature fruit", 2000, 4000),
    _california(14, "watermelon", _SIXTH, "early fruit", 5000, 9000),
    _california(15, "cucumber, pickling", _SIXTH, "early fruit set", 5000, 9000),
    _california(16, "summer squash (zucchini)", _YOUNG, "early bloom", 12000, 15000),
    _california(17, "potato", _FOURTH, "early season", 8000, 12000, "high"),
    _california(18, "potato", _FOURTH, "midseason", 6000, 9000, "high"),
    _california(19, "potato", _FOURTH, "late season", 3000, 5000, "high"),
    _california(20, "broccoli", _MIDRIB, "midgrowth", 7000, 10000),
    _california(21, "broccoli", _MIDRIB, "button stage", 5000, 9000),
    _california(22, "Brussels sprouts", _MIDRIB, "midgrowth", 5000, 9000),
    _california(23, "Brussels sprouts", _MIDRIB, "late", 2000, 4000),
    _california(24, "cabbage", _WRAPPER, "heading", 5000, 9000),
    _california(25, "cauliflower", _MIDRIB, "buttoning", 5000, 9000),
    _california(26, "lettuce", _WRAPPER, "heading", 4000, 8000),
    _california(27, "lettuce", _WRAPPER, "harvest", 3000, 6000),
    _california(28, "celery", _NEWEST, "midgrowth", 5000, 9000),
    _california(29, "celery", _NEWEST, "near maturity", 4000, 6000),
    _california(30, "carrot", _YOUNG, "midgrowth", 5000, 10000),
    _california(31, "spinach", _YOUNG, "midgrowth", 4000, 8000),
    _california(32, "sweet corn", "midrib of leaf above the ear", "tasselling", 500, 1500),
]

# --- Dry petiole or midrib, published minima and critical values ---


def _minimum(crop: str, where: str, part: str, *sources: str) -> Kind:
    return Kind("X22", crop, where, part, "dry", "ppm", sources)


_CABBAGE = _minimum("cabbage", "irrigated field, Arizona", "midrib of youngest full-size leaf", "G&R89")
_MAINE = _minimum("potato, Russet Burbank", "field, Maine", "4th-5th petiole", "MAINE91")
_SEBAGO_PART = "petiole of youngest fully expanded leaf"
_SEBAGO = _minimum("potato 'Sebago'", "sand culture, Australia", _SEBAGO_PART, "HUETT-POT")
_ENGLAND = _minimum("sugarbeet", "England", "petiole", "LAST77")._replace(
    basis="fresh weight (neither dry nor sap)"
)

DRY_MINIMA = [
    _minimum("bell pepper", "drip, California", "petiole", "HARTZ93").row(
        1, "NO3-N", "through early fruit bulking", 5000
    ),
    _CABBAGE.row(2, "NO3-N", "4-6 leaves", 11000),
    _CABBAGE.row(3, "NO3-N", "10-12 leaves", 8000),
    _CABBAGE.row(4, "NO3-N", "folding", 6000),
    _CABBAGE.row(5, "NO3-N", "early head", 4000),
    _CABBAGE.row(6, "NO3-N", "preharvest", 3000),
    _minimum("grape, Thompson Seedless", "vineyard, California", "petiole opposite cluster", "UC-GRAPE").row(
        7, "NO3-N", "full bloom", 500, 1200, 350, 2000
    ),
    _minimum("sugarbeet", "field", "petiole of recently matured leaf", "ULRICH", "CARTER").row(
        8, "NO3-N", "any time before mid-season", deficient=1000
    ),
    _minimum("sugarbeet", "Twin Falls, Idaho", "petiole", "CARTER").row(
        9, "NO3-N", "4-6 weeks before harvest (about 20 August)", 1000, 1000
    ),
    _ENGLAND.row(10, "NO3-N", "June", 800, 800),
    _MAINE.row(11, "NO3-N", "50 days after planting", deficient=16000, excess=22000),
    _MAINE._replace(crop="potato, Shepody").row(12, "NO3-N", "50 days after planting", deficient=17000),
    _SEBAGO.row(13, "NO3-N", "2 weeks after emergence", deficient=21000),
    _SEBAGO.row(14, "NO3-N", "harvest", deficient=1000),
]

# --- Dry petiole, potato: UID-BUL840, WK85 and UMN, all recalled, medium ---

_IDAHO = Kind(
    "X23",
    "potato, Russet Burbank",
    "irrigated field, Idaho",
    "petiole of 4th leaf",
    "dry",
    "ppm",
    ("UID-BUL840",),
    "recalled",
    "medium",
)
_MINNESOTA_DRY = _IDAHO._replace(where="field, Minnesota", part="petiole", sources=("UMN",))

POTATO_DRY = [
    _IDAHO.row(1, "NO3-N", "tuber bulking", 15000, 20000),
    _IDAHO._replace(sources=("WK85",)).row(2, "NO3-N", "linear tuber growth", deficient=15000),
    _MINNESOTA_DRY.row(3, "NO3-N", "vegetative / tuberization", 17000, 22000),
    _MINNESOTA_DRY.row(4, "NO3-N", "tuber bulking", 11000, 15000),
    _MINNESOTA_DRY.row(5, "NO3-N", "maturation", 6000, 9000),
]

# --- Dry petiole, cotton by week: SCSB394, recalled, medium ---

COTTON_DRY = Kind(
    "X24",
    "cotton",
    "Georgia / irrigated Coastal Plain",
    "petiole of most recent mature leaf",
    "dry",
    "ppm",
    ("SCSB394",),
    "recalled",
    "medium",
).run(
    1,
    "NO3-N",
    ("week before first bloom", 7000, 13000),
    ("week of first bloom", 4500, 12500),
    ("bloom + 1 week", 3500, 11000),
    ("bloom + 2 weeks", 2500, 9500),
    ("bloom + 3 weeks", 1500, 7500),
    ("bloom + 4 weeks", 1000, 7000),
    ("bloom + 5 weeks", 1000, 6000),
    ("bloom + 6 to 8 weeks", 500, 4000),
)

# --- Leaf, Florida: UF-EP081 (also HS964), recalled. The document prints Deficient (<), Adequate and High (>), so
# the deficient limit is the low edge and the high limit the high edge ---


def _whole_leaf(crop: str, unit: str = "%", confidence: str = "medium") -> Kind:
    part = "most recently matured whole leaf"
    return Kind("X31", crop, "field, Florida", part, "dry", unit, ("UF-EP081",), "recalled", confidence)


def _adequate(kind: Kind, first: int, place: str, **ranges: tuple[float, float]) -> list[PrintedRow]:
    return [
        kind.row(first + step, analyte, place, low, high, low, high)
        for step, (analyte, (low, high)) in enumerate(ranges.items())
    ]


_TOMATO_LEAF = _whole_leaf("tomato", confidence="high")
_PEPPER_LEAF, _CUCUMBER_LEAF = _whole_leaf("pepper"), _whole_leaf("cucumber")
_MELON_LEAF = _whole_leaf("watermelon")
_MELON_QUOTED = _MELON_LEAF._replace(evidence="published", confidence=None, sources=("SCG-WM",))
_TOMATO_TRACE, _TOMATO_TOXIC = _whole_leaf("tomato", "ppm"), _whole_leaf("tomato", "ppm", "low")

FLORIDA_LEAF = [
    *_adequate(
        _TOMATO_LEAF, 1, "5-leaf stage", N=(3.0, 5.0), P=(0.3, 0.6), K=(3.0, 5.0), Ca=(1.0, 2.0), Mg=(0.3, 0.5)
    ),
    *_adequate(
        _TOMATO_LEAF, 6, "first flower", N=(2.8, 4.0), P=(0.2, 0.4), K=(2.5, 4.0), Ca=(1.0, 2.0), Mg=(0.3, 0.5)
    ),
    *_adequate(
        _TOMATO_LEAF,
        11,
        "early fruit set",
        N=(2.5, 4.0),
        P=(0.2, 0.4),
        K=(2.5, 4.0),
        Ca=(1.0, 2.0),
        Mg=(0.25, 0.5),
    ),
    *_adequate(
        _TOMATO_LEAF,
        16,
        "first ripe fruit",
        N=(2.0, 3.5),
        P=(0.2, 0.4),
        K=(2.0, 4.0),
        Ca=(1.0, 2.0),
        Mg=(0.25, 0.5),
    ),
    *_adequate(
        _TOMATO_LEAF, 21, "during harvest", N=(2.0, 3.0), P=(0.2, 0.4), K=(1.5, 2.5), Ca=(1.0, 2.0), Mg=(0.25, 0.5)
    ),
    *_adequate(
        _PEPPER_LEAF,
        26,
        "before blossoming",
        N=(4.0, 5.0),
        P=(0.3, 0.5),
        K=(5.0, 6.0),
        Ca=(0.9, 1.5),
        Mg=(0.35, 0.6),
    ),
    *_adequate(
        _PEPPER_LEAF,
        31,
        "first blossoms open",
        N=(3.0, 5.0),
        P=(0.3, 0.5),
        K=(2.5, 5.0),
        Ca=(0.9, 1.5),
        Mg=(0.3, 0.5),
    ),
    *_adequate(
        _PEPPER_LEAF, 36, "early fruit set", N=(2.9, 4.0), P=(0.3, 0.4), K=(2.5, 4.0), Ca=(1.0, 1.5), Mg=(0.3, 0.4)
    ),
    *_adequate(
        _PEPPER_LEAF, 41, "early harvest", N=(2.5, 3.0), P=(0.2, 0.4), K=(2.0, 3.0), Ca=(1.0, 1.5), Mg=(0.3, 0.4)
    ),
    *_adequate(_whole_leaf("pepper", confidence="low"), 46, "mid harvest", N=(2.0, 2.5)),
    *_adequate(_CUCUMBER_LEAF, 47, "before bloom", N=(3.5, 6.0), P=(0.3, 0.6), K=(1.6, 3.0), Ca=(2.0, 4.0)),
    *_adequate(
        _CUCUMBER_LEAF, 51, "early bloom", N=(2.5, 5.0), P=(0.25, 0.6), K=(1.6, 3.0), Ca=(1.3, 3.5), Mg=(0.3, 0.6)
    ),
    *_adequate(
        _MELON_LEAF,
        56,
        "layby (last cultivation)",
        N=(3.0, 4.0),
        P=(0.3, 0.5),
        K=(3.0, 4.0),
        Ca=(1.0, 2.0),
        Mg=(0.25, 0.5),
    ),
    _MELON_QUOTED.row(61, "N", "first flower", 2.5, 3.5),
    *_adequate(_MELON_LEAF, 62, "first flower", P=(0.3, 0.5)),
    _MELON_QUOTED.row(63, "K", "first flower", 2.7, 3.5),
    *_adequate(_MELON_LEAF, 64, "first flower", Ca=(1.0, 2.0), Mg=(0.25, 0.5)),
    *_adequate(
        _MELON_LEAF, 66, "first fruit", N=(2.0, 3.0), P=(0.3, 0.5), K=(2.3, 3.5), Ca=(1.0, 2.0), Mg=(0.25, 0.5)
    ),
    *_adequate(
        _MELON_LEAF, 71, "harvest period", N=(2.0, 3.0), P=(0.3, 0.5), K=(2.0, 3.0), Ca=(1.0, 2.0), Mg=(0.25, 0.5)
    ),
    *_adequate(
        _whole_leaf("eggplant"),
        76,
        "early fruit set",
        N=(4.2, 5.0),
        P=(0.3, 0.6),
        K=(3.5, 5.0),
        Ca=(0.8, 1.5),
        Mg=(0.25, 0.6),
    ),
    _TOMATO_TRACE.row(81, "Fe", "all stages", 40, 100),
    _TOMATO_TRACE.row(82, "Mn", "all stages", 30, 100),
    _TOMATO_TRACE.row(83, "Zn", "all stages", (20, 25), 40),
    _TOMATO_TRACE.row(84, "B", "all stages", 20, 40),
    _TOMATO_TRACE.row(85, "Cu", "all stages", 5, (10, 15)),
    _TOMATO_TOXIC.row(86, "B", "all stages", excess=250),
    _TOMATO_TOXIC.row(87, "Mn", "all stages", excess=1500),
    _TOMATO_TOXIC.row(88, "Zn", "all stages", excess=300),
]

# --- Other leaf figures: HUETT-TOM, HUETT-LET, PURDUE (published), HARTZ98 (recalled, medium) ---

_OPENED, _EXPANDED = "youngest fully opened leaf with petiole", "youngest fully expanded leaf"
_SAND = "sand culture, Australia"
_PURDUE = Kind("X32", "watermelon", "general (Purdue, after Bryson et al.)", "leaf", "dry", "%", ("PURDUE",))
_PROCESSING_LEAF = Kind(
    "X32",
    "tomato, processing",
    "irrigated field, California",
    "whole leaf",
    "dry",
    "%",
    ("HARTZ98",),
    "recalled",
    "medium",
)

OTHER_LEAF = [
    Kind("X32", "tomato 'Flora-Dade'", _SAND, _OPENED, "dry", "%", ("HUETT-TOM",)).row(
        1, "N", "4-12 weeks after transplanting", deficient=(4.45, 4.90)
    ),
    Kind("X32", "lettuce 'Montello'", _SAND, _EXPANDED, "dry", "%", ("HUETT-LET",)).row(
        2, "N", "season", deficient=(4.00, 5.30)
    ),
    *_PURDUE.run(3, "K", ("flower", 4.0, 5.0), ("small fruit", 2.5, 3.5), ("older fruit to harvest", 3.5, 4.5)),
    *_PROCESSING_LEAF.run(6, "N", ("first bloom", 4.6, 5.2), ("full bloom", 3.5, 4.5), ("10 % ripe", 2.7, 3.8)),
]

# --- Strawberry, dry petiole: UGA-2021, DE-2018, DE-MON, UC-DRIS-2012 (published), UC-4098 (recalled, medium).
# The low limit of weeks 5-8 is printed 300 in UGA-2021, a misprint for 3,000 (DE-2018, DE-MON) ---

_JUNE, _ALBION = "strawberry, June-bearing", "strawberry, day-neutral ('Albion')"
_RECENT = "petiole of most recently mature leaf"
_HILL = "annual plasticulture (hill), Georgia / US Southeast"
_DELAWARE, _COAST = "annual plasticulture, Delaware", "annual, coastal California"
_OLDER = "California (older guideline)"
_GEORGIA_WEEKS = Kind("S11", _JUNE, _HILL, "petiole", "dry", "ppm", ("UGA-2021",))
_DELAWARE_DRY = Kind("S12", _JUNE, _DELAWARE, _RECENT, "dry", "ppm", ("DE-2018",))
_COAST_PPM = Kind("S14", _ALBION, _COAST, "petiole", "dry", "ppm", ("UC-DRIS-2012",))
_COAST_PERCENT = _COAST_PPM._replace(unit="%")
_OLD_PETIOLE = Kind("S14", "strawberry", _OLDER, "petiole", "dry", "ppm", ("UC-4098",), "recalled", "medium")

STRAWBERRY_DRY = [
    *_GEORGIA_WEEKS.run(1, "NO3-N", ("week 1", 600, 1500), ("weeks 2-3", 4000, 6000), ("week 4", 3500, 6000)),
    _GEORGIA_WEEKS._replace(sources=("UGA-2021", "DE-2018", "DE-MON")).row(4, "NO3-N", "weeks 5-8", 3000, 5000),
    *_GEORGIA_WEEKS.run(5, "NO3-N", ("weeks 9-10", 2000, 4500), ("week 11", 1500, 3000), ("week 12", 1000, 2000)),
    *_DELAWARE_DRY.run(
        1,
        "NO3-N",
        ("green-up, pre-bloom", 600, 1500),
        ("bloom / full bloom", 4000, 6000),
        ("main fruiting", 3000, 5000),
        ("later fruiting", 1000, 3000),
    ),
    _DELAWARE_DRY._replace(sources=("DE-MON",)).row(
        5,
        "NO3-N",
        "spring, to the end of the month of issue (month and year not stated; April likely)",
        3000,
        5000,
    ),
    _COAST_PPM.row(1, "NO3-N", "pre-harvest", 1000),
    _COAST_PPM.row(2, "NO3-N", "peak harvest", 400),
    _COAST_PPM.row(3, "PO4-P", "all season", 1200),
    _COAST_PERCENT.row(4, "K", "pre-harvest", 2.5),
    _COAST_PERCENT.row(5, "K", "peak harvest", 1.5),
    _OLD_PETIOLE.row(6, "NO3-N", "season", deficient=500),
    _OLD_PETIOLE._replace(part="leaf", unit="%").row(7, "N", "season", deficient=2.8),
]

# --- Strawberry, fresh petiole sap: UF-CV004 (recalled, high), DE-7778, DE-3899, RAYNAL-1997 (published) ---

_WINTER = "annual plasticulture, winter crop, Florida"
_WINTER_SAP = Kind("S21", "strawberry", _WINTER, _RECENT, "sap", "mg/L", ("UF-CV004",), "recalled", "high")
_EARLY_SAP = Kind("S21", "strawberry", _DELAWARE, _RECENT, "sap", "mg/L", ("DE-7778",))
_SPRING_SAP = _EARLY_SAP._replace(sources=("DE-3899",))
_FRANCE = Kind(
    "S21",
    "strawberry, double-fruiting ('Selva', 'Seascape')",
    "France, field survey",
    "petiole of young adult leaf",
    "sap",
    "mg/L",
    ("RAYNAL-1997",),
)

STRAWBERRY_SAP = [
    *_WINTER_SAP.run(
        1,
        "NO3-N",
        ("November", 800, 900),
        ("December", 600, 800),
        ("January", 600, 800),
        ("February", 300, 500),
        ("March", 200, 500),
        ("April", 200, 500),
    ),
    *_WINTER_SAP.run(
        7,
        "K",
        ("November", 3000, 3500),
        ("December", 3000, 3500),
        ("January", 2500, 3000),
        ("February", 2000, 2500),
        ("March", 1800, 2500),
        ("April", 1500, 2000),
    ),
    _EARLY_SAP.row(13, "NO3-N", "before and at early bloom", 600),
    _SPRING_SAP.row(14, "nitrate (NO3 or NO3-N not stated)", "spring", 500),
    _SPRING_SAP.row(15, "K", "spring", 2500),
    _FRANCE.row(16, "NO3", "season", 1000, 1500),
    _FRANCE.row(17, "NO3", "season", deficient=(500, 700)),
    derived(_FRANCE).row(18, "NO3-N", "season", 226, 339),
    derived(_FRANCE).row(19, "NO3-N", "season", deficient=(113, 158)),
]

# --- Strawberry, leaf: DE-2018, DE-MON, UGA-AESL, NCDA-2023, UGA-2023, DE-B, UC-BOLDA, MENZEL-2018 and
# KIRSCHBAUM-NURSERY (published); SCSB-394 and UF-EP081 (recalled, medium unless said) ---

_DELAWARE_LEAF = Kind(
    "S31",
    _JUNE,
    "annual plasticulture, Delaware (levels of North Carolina origin)",
    "leaf blade of most recently mature leaf",
    "dry",
    "%",
    ("DE-2018", "DE-MON"),
)
_GEORGIA_LEAF = Kind(
    "S31",
    _JUNE,
    "annual plasticulture, Georgia",
    "youngest fully expanded mature leaf",
    "dry",
    "%",
    ("UGA-AESL",),
)
_GEORGIA_TIMES = "December (for B), first spring growth, then monthly"
_CAROLINA = Kind("S31", _JUNE, "annual plasticulture, North Carolina", "leaf", "dry", "%", ("NCDA-2023",))
_SOUTHEAST = Kind(
    "S31",
    _JUNE,
    "annual plasticulture, US Southeast",
    "leaf blade of most recently mature leaf",
    "dry",
    "ppm",
    ("SCSB-394",),
    "recalled",
    "medium",
)
_BLADE = Kind("S32", _ALBION, _COAST, "leaf blade", "dry", "%", ("UC-BOLDA",))
_BLADE_PPM = _BLADE._replace(unit="ppm")
_BLADE_RECALLED = _BLADE_PPM._replace(evidence="recalled", confidence="medium")
_PRE, _MAIN = "pre-harvest", "main harvest"
_MATURED = Kind(
    "S33",
    "strawberry",
    _WINTER,
    "most recently matured leaf",
    "dry",
    "%",
    ("UF-EP081",),
    "recalled",
    "medium",
)
_MATURED_LOW = _MATURED._replace(confidence="low")
_FLOWERING, _HARVEST = "initial flowering (November)", "initial harvest (December)"
_MIDSEASON, _END = "midseason (February)", "end of season (April)"
_QUEENSLAND = Kind(
    "S34",
    "strawberry ('Festival', 'Fortuna', 'Winter Dawn')",
    "subtropical field, Queensland, Australia",
    "young fully expanded leaf",
    "dry",
    "ppm",
    ("MENZEL-2018",),
)
_NURSERY = Kind(
    "S34",
    "strawberry, an older short-day cultivar",
    "runner-plant nursery, high latitude, California",
    "leaf",
    "dry",
    "%",
    ("KIRSCHBAUM-NURSERY",),
)

STRAWBERRY_LEAF = [
    _DELAWARE_LEAF.row(1, "N", "spring season", 3.0, 4.0),
    _DELAWARE_LEAF.row(2, "P", "spring season", 0.20, 0.40),
    _DELAWARE_LEAF.row(3, "K", "spring season", 1.1, 2.5),
    _DELAWARE_LEAF.row(4, "Ca", "spring season", 0.5, 1.5),
    _DELAWARE_LEAF.row(5, "Mg", "spring season", 0.25, 0.45),
    _GEORGIA_LEAF.row(6, "N", _GEORGIA_TIMES, 2.80, 3.80),
    _GEORGIA_LEAF.row(7, "P", _GEORGIA_TIMES, 0.20, 0.45),
    _GEORGIA_LEAF.row(8, "K", _GEORGIA_TIMES, 1.40, 2.50),
    _GEORGIA_LEAF.row(9, "Ca", _GEORGIA_TIMES, 0.50, 1.0),
    _GEORGIA_LEAF.row(10, "Mg", _GEORGIA_TIMES, 0.25, 0.50),
    _GEORGIA_LEAF.row(11, "S", _GEORGIA_TIMES, 0.15, 0.40),
    _CAROLINA.row(12, "N", "spring season", deficient=3.0),
    _GEORGIA_LEAF._replace(part="youngest fully expanded leaf", unit="ppm", sources=("UGA-2023",)).row(
        13, "B", "January", 30, 50
    ),
    Kind("S31", _JUNE, _DELAWARE, "leaf", "dry", "ppm", ("DE-B",)).row(14, "B", "season", 20, 100, None, 200),
    _SOUTHEAST._replace(unit="%").row(15, "S", "season", 0.15, 0.40),
    _SOUTHEAST.row(16, "B", "season", 25, 50),
    _SOUTHEAST.row(17, "Fe", "season", 50, 300),
    _SOUTHEAST.row(18, "Mn", "season", 30, 300),
    _SOUTHEAST.row(19, "Zn", "season", 15, 60),
    _SOUTHEAST.row(20, "Cu", "season", 3, 15),
    _BLADE.row(1, "N", _PRE, 3.1, 3.8),
    _BLADE.row(2, "P", _PRE, 0.50, 0.90),
    _BLADE.row(3, "K", _PRE, 1.8, 2.2),
    _BLADE.row(4, "Ca", _PRE, 0.6, 1.3),
    _BLADE.row(5, "Mg", _PRE, 0.33, 0.45),
    _BLADE.row(6, "S", _PRE, 0.19, 0.23),
    _BLADE_PPM.row(7, "B", _PRE, 31, 46),
    _BLADE_PPM.row(8, "Zn", _PRE, 13, 28),
    _BLADE_PPM.row(9, "Mn", _PRE, 75, 600),
    _BLADE_PPM.row(10, "Fe", _PRE, 70, 140),
    _BLADE_PPM.row(11, "Cu", _PRE, 3.3, 5.8),
    _BLADE.row(12, "N", _MAIN, 2.4, 3.0),
    _BLADE.row(13, "P", _MAIN, 0.30, 0.40),
    _BLADE.row(14, "K", _MAIN, 1.3, 1.8),
    _BLADE.row(15, "Ca", _MAIN, 1.0, 2.2),
    _BLADE.row(16, "Mg", _MAIN, 0.28, 0.42),
    _BLADE.row(17, "S", _MAIN, 0.15, 0.21),
    _BLADE_PPM.row(18, "B", _MAIN, 40, 70),
    _BLADE_PPM.row(19, "Zn", _MAIN, 11),
    _BLADE_RECALLED.row(20, "Mn", _MAIN, 65, 320),
    _BLADE_RECALLED.row(21, "Fe", _MAIN, 85, 200),
    _BLADE_RECALLED.row(22, "Cu", _MAIN, 2.6, 4.9),
    _BLADE_RECALLED.row(23, "Zn", _MAIN, None, 20),
    *_adequate(_MATURED, 1, _FLOWERING, N=(3.0, 3.5)),
    *_adequate(_MATURED, 2, _HARVEST, N=(3.0, 3.5)),
    *_adequate(_MATURED, 3, _MIDSEASON, N=(2.8, 3.0)),
    *_adequate(_MATURED_LOW, 4, _END, N=(2.5, 3.0)),
    *_adequate(_MATURED, 5, _HARVEST, P=(0.2, 0.4), K=(1.5, 2.5), Ca=(0.4, 1.5), Mg=(0.25, 0.5)),
    *_adequate(_MATURED, 9, _MIDSEASON, P=(0.2, 0.4), K=(1.1, 2.5), Ca=(0.4, 1.5), Mg=(0.2, 0.4)),
    *_adequate(_MATURED_LOW, 13, _END, P=(0.2, 0.4), K=(1.1, 2.0)),
    _QUEENSLAND._replace(unit="%").row(1, "N", "season, start to end", 2.0, 3.0),
    _QUEENSLAND.row(2, "NO3-N", "early season", 1200, 3200),
    _QUEENSLAND.row(3, "NO3-N", "late season", 50, 500),
    _NURSERY.row(4, "N", "at digging", 1.9, 2.8),
]

ROWS = (
    *FLORIDA_SAP,
    *MICHIGAN_SAP,
    *OTHER_SAP,
    *CALIFORNIA_DRY,
    *DRY_MINIMA,
    *POTATO_DRY,
    *COTTON_DRY,
    *FLORIDA_LEAF,
    *OTHER_LEAF,
    *STRAWBERRY_DRY,
    *STRAWBERRY_SAP,
    *STRAWBERRY_LEAF,
)

_LOW = "recalled with low confidence"
_TWIN = "arithmetic on the NO3 row beside it; the program converts that one"
_POINT = "a point target, not a band"
_CRITICAL = "critical values across trials, not a band"
_OBSERVED = "an observed range, not a sufficiency band"

LEFT_OUT = {
    **dict.fromkeys(("X12-06", "X12-07", "X12-08", "X12-09", "X12-10"), _TWIN),
    **dict.fromkeys(("X13-02", "X13-06", "X13-07", "X13-09", "S21-18"), _TWIN),
    **dict.fromkeys(("X14-01", "X14-02", "X14-03", "X14-04", "X14-05"), _CRITICAL),
    **dict.fromkeys(("X21-04", "X21-05", "X21-06", "X21-08"), _LOW),
    **dict.fromkeys(("X22-09", "X22-10", "S21-15"), _POINT),
    **dict.fromkeys(("X22-13", "X22-14"), "a falling pair of critical values without the course between them"),
    **dict.fromkeys(("X31-46", "X31-86", "X31-87", "X31-88"), _LOW),
    **dict.fromkeys(("X32-01", "X32-02"), _CRITICAL),
    "S12-05": "names no date or stage that can be placed",
    "S21-14": "a point target; whether it is NO3 or NO3-N is not stated",
    "S21-17": "a deficiency zone between two figures, not a limit",
    "S21-19": "arithmetic on S21-17, which is a zone between two figures",
    "S32-23": "the recalled upper limit of S32-19, which is published without one",
    **dict.fromkeys(("S33-04", "S33-13", "S33-14"), _LOW),
    **dict.fromkeys(("S34-01", "S34-02", "S34-03"), _OBSERVED),
}
"""Ids of printed rows that no table ships -> why. The X14 rows, critical values, are not transcribed here."""
