"""Shipped materials against the sources, transcribed a second time, and against formula masses.

Keys such as CRC-98 are those of the citations. A figure marked recalled is from memory: the check holds the file
to what was recalled, no more.
"""

from __future__ import annotations

import periodictable
import pytest

from fertadjust.evidence import Evidence
from fertadjust.materials import Solubility
from fertadjust.shipped import shipped_materials
from fertadjust.units import K2O_TO_K, L_PER_GAL, LB_GAL_PER_KG_L, MG_PER_LB, P2O5_TO_P

MATERIALS = shipped_materials()

CELSIUS = (0, 10, 20, 25, 30, 40)


def table(name: str) -> Solubility:
    found = MATERIALS[name].used_solubility()
    assert found is not None
    return found


def g_per_kg_water(share: float) -> float:
    """kg per kg of solution -> g per kg of water."""
    return 1000 * share / (1 - share)


# --- grades --------------------------------------------------------------------------------------------------

# N, P2O5, K2O; then other nutrients as elements. Evidence of the grade (of the others where there is no grade).
GRADES = [
    ("ammonium_nitrate", (34, 0, 0), {}, "published"),  # NEVMG; 33.5 in SJC-N-TABLE
    ("ammonium_sulfate", (21, 0, 0), {"s": 24}, "published"),  # NEVMG, NRCS-NM-76, IFA-CONVERSION
    ("calcium_nitrate", (15.5, 0, 0), {"ca": 19}, "published"),  # NEVMG, SJC-N-TABLE, DPIRD-2016
    ("potassium_nitrate", (13, 0, 44), {}, "published"),  # NRCS-NM-76
    ("urea", (46, 0, 0), {}, "published"),  # NRCS-NM-76, SJC-N-TABLE, IFA-CONVERSION
    ("uan_28", (28, 0, 0), {}, "published"),  # NRCS-NM-76, IFA-CONVERSION
    ("uan_32", (32, 0, 0), {}, "published"),  # NRCS-NM-76, IFA-CONVERSION
    ("can_17_solution", (17, 0, 0), {"ca": 8}, "published"),  # SJC-N-TABLE; Ca recalled, medium
    ("an_20_solution", (20, 0, 0), {}, "published"),  # SJC-N-TABLE
    ("can_27_solid", (27, 0, 0), {"ca": 8}, "published"),  # NEVMG; Ca recalled, high
    ("map", (11, 48, 0), {}, "published"),  # NEVMG, NRCS-NM-76, DPIRD-2016
    ("dap", (18, 46, 0), {}, "published"),  # NEVMG, NRCS-NM-76
    ("app_10_34_0", (10, 34, 0), {}, "published"),  # NRCS-NM-76
    ("mkp", (0, 52, 34), {}, "recalled"),  # high
    ("potassium_chloride", (0, 0, 60), {}, "published"),  # IFA-CONVERSION, CORNELL-CCA
    ("potassium_sulfate", (0, 0, 50), {"s": 18}, "published"),  # IFA-CONVERSION, CORNELL-CCA
    ("epsom", (0, 0, 0), {"mg": 9.9, "s": 13}, "published"),  # NEVMG, DPIRD-2016, IFA-CONVERSION
    ("magnesium_nitrate_6", (10.9, 0, 0), {"mg": 9.5}, "derived"),  # formula
    ("ats", (12, 0, 0), {"s": 26}, "published"),  # NRCS-NM-76, FERT-PHYSICAL
    ("boric_acid", (0, 0, 0), {"b": 17.5}, "derived"),  # formula
    ("dot", (0, 0, 0), {"b": 21.0}, "derived"),  # formula
    ("borax_5", (0, 0, 0), {"b": 14.8}, "derived"),  # formula
    ("drip_7_0_7", (7, 0, 7), {}, "published"),  # UGA-C1325
    ("drip_4_0_8", (4, 0, 8), {}, "published"),  # UGA-C1325
    ("urea_23_solution", (23, 0, 0), {}, "derived"),  # SJC-N-TABLE
    ("phosphoric_acid_75", (0, 54.3, 0), {}, "derived"),  # 75 x 0.7242
    ("phosphoric_acid_85", (0, 61.6, 0), {}, "derived"),  # 85 x 0.7242
    ("calcium_nitrate_solution", (9, 0, 0), {"ca": 11}, "recalled"),  # low
]


def test_every_shipped_material_is_checked() -> None:
    assert sorted(name for name, *_ in GRADES) == sorted(MATERIALS)


@pytest.mark.parametrize(("name", "grade", "others", "evidence"), GRADES, ids=[row[0] for row in GRADES])
def test_grade_and_other_nutrients_are_as_in_the_source(
    name: str, grade: tuple[float, float, float], others: dict[str, float], evidence: str
) -> None:
    found = MATERIALS[name]
    expected = dict(zip(("n", "p2o5", "k2o"), grade, strict=True)) | others
    assert found.percent == {key: value for key, value in expected.items() if value or key == "n"}
    group = found.analysis or found.secondary
    assert group is not None
    assert group.evidence == evidence


@pytest.mark.parametrize("name", ["can_17_solution", "can_27_solid", "calcium_nitrate_solution"])
def test_calcium_that_only_memory_backs_says_so(name: str) -> None:
    found = MATERIALS[name].secondary
    assert found is not None
    assert (found.evidence, found.source) == (Evidence.RECALLED, "none")


# --- formula mass fractions ----------------------------------------------------------------------------------

P2O5_PER_P, K2O_PER_K = 1 / P2O5_TO_P, 1 / K2O_TO_K

# Percent by weight as stated with IUPAC-WEIGHTS, derived; tolerance 0.01.
FRACTIONS = [
    ("KNO3", "N", 1.0, 13.85),
    ("KNO3", "K", 1.0, 38.67),
    ("KNO3", "K", K2O_PER_K, 46.58),
    ("Ca(NO3)2", "N", 1.0, 17.07),
    ("Ca(NO3)2", "Ca", 1.0, 24.42),
    ("Ca(NO3)2(H2O)4", "N", 1.0, 11.86),
    ("Ca(NO3)2(H2O)4", "Ca", 1.0, 16.97),
    ("(Ca(NO3)2)5NH4NO3(H2O)10", "N", 1.0, 15.55),
    ("(Ca(NO3)2)5NH4NO3(H2O)10", "Ca", 1.0, 18.54),
    ("NH4NO3", "N", 1.0, 35.00),
    ("CO(NH2)2", "N", 1.0, 46.65),
    ("(NH4)2SO4", "N", 1.0, 21.20),
    ("(NH4)2SO4", "S", 1.0, 24.26),
    ("NH4H2PO4", "N", 1.0, 12.18),
    ("NH4H2PO4", "P", P2O5_PER_P, 61.70),
    ("(NH4)2HPO4", "N", 1.0, 21.21),
    ("(NH4)2HPO4", "P", P2O5_PER_P, 53.74),
    ("KH2PO4", "P", P2O5_PER_P, 52.15),
    ("KH2PO4", "K", K2O_PER_K, 34.61),
    ("KCl", "K", K2O_PER_K, 63.18),
    ("K2SO4", "K", K2O_PER_K, 54.06),
    ("K2SO4", "S", 1.0, 18.40),
    ("MgSO4(H2O)7", "Mg", 1.0, 9.86),
    ("MgSO4(H2O)7", "S", 1.0, 13.01),
    ("Mg(NO3)2(H2O)6", "N", 1.0, 10.93),
    ("Mg(NO3)2(H2O)6", "Mg", 1.0, 9.48),
    ("H3PO4", "P", P2O5_PER_P, 72.42),
    ("H3BO3", "B", 1.0, 17.48),
    ("Na2B8O13(H2O)4", "B", 1.0, 20.97),
    ("Na2B4O7(H2O)5", "B", 1.0, 14.84),
]


def mass_fraction(formula: str, element: str) -> float:
    """Percent of an element in a compound, by the independent masses of periodictable."""
    compound = periodictable.formula(formula)
    return 100 * float(compound.mass_fraction[periodictable.elements.symbol(element)])


@pytest.mark.parametrize(("formula", "element", "factor", "percent"), FRACTIONS)
def test_mass_fractions_agree_with_independent_formula_masses(
    formula: str, element: str, factor: float, percent: float
) -> None:
    assert factor * mass_fraction(formula, element) == pytest.approx(percent, abs=0.01)


# Products that are the pure compound, to the last figure printed.
PURE = [
    ("magnesium_nitrate_6", "Mg(NO3)2(H2O)6", {"n": "N", "mg": "Mg"}),
    ("epsom", "MgSO4(H2O)7", {"mg": "Mg", "s": "S"}),
    ("boric_acid", "H3BO3", {"b": "B"}),
    ("dot", "Na2B8O13(H2O)4", {"b": "B"}),
    ("borax_5", "Na2B4O7(H2O)5", {"b": "B"}),
]


@pytest.mark.parametrize(("name", "formula", "elements"), PURE, ids=[row[0] for row in PURE])
def test_a_pure_compound_holds_what_its_formula_says(name: str, formula: str, elements: dict[str, str]) -> None:
    for nutrient, element in elements.items():
        assert MATERIALS[name].percent[nutrient] == pytest.approx(mass_fraction(formula, element), abs=0.05)


@pytest.mark.parametrize("strength", [75, 85])
def test_phosphoric_acid_holds_the_phosphate_of_its_strength(strength: int) -> None:
    phosphate = strength / 100 * P2O5_PER_P * mass_fraction("H3PO4", "P")
    assert MATERIALS[f"phosphoric_acid_{strength}"].percent["p2o5"] == pytest.approx(phosphate, abs=0.05)


@pytest.mark.parametrize(
    ("name", "anhydrous", "waters"), [("epsom", "MgSO4", 7), ("magnesium_nitrate_6", "Mg(NO3)2", 6)]
)
def test_crystal_water_follows_from_the_formula(name: str, anhydrous: str, waters: int) -> None:
    salt, water = periodictable.formula(anhydrous).mass, waters * periodictable.formula("H2O").mass
    found = MATERIALS[name].solubility
    assert found is not None
    assert found.crystal_water == pytest.approx(100 * water / (salt + water), abs=0.01)


# Percent of a commercial product that can not be above the pure compound by more than rounding.
@pytest.mark.parametrize(
    ("name", "formula", "nutrient", "element", "factor"),
    [
        ("ammonium_nitrate", "NH4NO3", "n", "N", 1.0),
        ("ammonium_sulfate", "(NH4)2SO4", "n", "N", 1.0),
        ("ammonium_sulfate", "(NH4)2SO4", "s", "S", 1.0),
        ("calcium_nitrate", "(Ca(NO3)2)5NH4NO3(H2O)10", "n", "N", 1.0),
        ("potassium_nitrate", "KNO3", "n", "N", 1.0),
        ("potassium_nitrate", "KNO3", "k2o", "K", K2O_PER_K),
        ("urea", "CO(NH2)2", "n", "N", 1.0),
        ("map", "NH4H2PO4", "n", "N", 1.0),
        ("map", "NH4H2PO4", "p2o5", "P", P2O5_PER_P),
        ("dap", "(NH4)2HPO4", "n", "N", 1.0),
        ("dap", "(NH4)2HPO4", "p2o5", "P", P2O5_PER_P),
        ("mkp", "KH2PO4", "p2o5", "P", P2O5_PER_P),
        ("mkp", "KH2PO4", "k2o", "K", K2O_PER_K),
        ("potassium_chloride", "KCl", "k2o", "K", K2O_PER_K),
        ("potassium_sulfate", "K2SO4", "k2o", "K", K2O_PER_K),
        ("potassium_sulfate", "K2SO4", "s", "S", 1.0),
    ],
)
def test_a_product_holds_no_more_than_the_pure_compound(
    name: str, formula: str, nutrient: str, element: str, factor: float
) -> None:
    pure = factor * mass_fraction(formula, element)
    assert 0.75 * pure < MATERIALS[name].percent[nutrient] <= pure


# --- forms of nitrogen ---------------------------------------------------------------------------------------

# Nitrate-N, ammonium-N, urea-N, percent by weight; tolerance 0.05, the last figure printed.
FORMS = [
    ("ammonium_nitrate", (17, 17, 0), "published"),  # SJC-N-TABLE, half and half
    ("uan_32", (7.9, 7.9, 16.3), "derived"),  # ANR-174, 35 % urea and 45 % ammonium nitrate
    ("uan_28", (7.0, 7.0, 14.0), "derived"),  # ANR-174, 30 % urea and 40 % ammonium nitrate
    ("an_20_solution", (10, 10, 0), "published"),  # SJC-N-TABLE
    ("calcium_nitrate", (14.5, 1.0, 0), "recalled"),  # high
    ("can_17_solution", (11.6, 5.4, 0), "recalled"),  # medium
    ("potassium_nitrate", (13, 0, 0), "derived"),
    ("urea", (0, 0, 46), "derived"),
    ("urea_23_solution", (0, 0, 23), "derived"),
    ("ammonium_sulfate", (0, 21, 0), "derived"),
    ("map", (0, 11, 0), "derived"),
    ("dap", (0, 18, 0), "derived"),
    ("magnesium_nitrate_6", (10.9, 0, 0), "derived"),
]


@pytest.mark.parametrize(("name", "forms", "evidence"), FORMS, ids=[row[0] for row in FORMS])
def test_forms_of_nitrogen_are_as_in_the_source(
    name: str, forms: tuple[float, float, float], evidence: str
) -> None:
    found = MATERIALS[name].forms
    assert found is not None
    assert (found.nitrate, found.ammonium, found.urea) == pytest.approx(forms, abs=0.05)
    assert found.evidence == evidence


def test_no_forms_are_claimed_where_none_are_known() -> None:
    silent = {name for name, found in MATERIALS.items() if found.percent["n"] > 0 and found.forms is None}
    assert silent == {
        *("can_27_solid", "ats", "app_10_34_0", "drip_7_0_7", "drip_4_0_8", "calcium_nitrate_solution"),
    }


@pytest.mark.parametrize(("name", "urea", "ammonium_nitrate"), [("uan_28", 30, 40), ("uan_32", 35, 45)])
def test_urea_ammonium_nitrate_holds_what_its_parts_hold(name: str, urea: float, ammonium_nitrate: float) -> None:
    """ANR-174: its parts; nitrogen of each by formula."""
    found = MATERIALS[name].forms
    assert found is not None
    salt = ammonium_nitrate * mass_fraction("NH4NO3", "N") / 200
    assert found.urea == pytest.approx(urea * mass_fraction("CO(NH2)2", "N") / 100, abs=0.01)
    assert (found.nitrate, found.ammonium) == pytest.approx((salt, salt), abs=0.01)


def test_half_the_nitrogen_of_urea_ammonium_nitrate_is_urea() -> None:
    """About 25 % nitrate, 25 % ammonium, 50 % urea (published on general-science pages)."""
    for name in ("uan_28", "uan_32"):
        found = MATERIALS[name]
        assert found.forms is not None
        assert found.forms.urea / found.percent["n"] == pytest.approx(0.50, abs=0.02)
        assert found.forms.nitrate / found.percent["n"] == pytest.approx(0.25, abs=0.01)


# --- densities -----------------------------------------------------------------------------------------------

# lb per US gal, pounds of N in a gallon (None where the material has none), evidence.
DENSITIES = [
    ("uan_28", 10.67, 2.9876, "published"),  # FERT-PHYSICAL
    ("uan_32", 11.06, 3.5392, "published"),  # FERT-PHYSICAL
    ("can_17_solution", 12.6, 2.135, "derived"),  # SJC-N-TABLE: 5.92 lb / 0.47 gal; 2.13-2.14
    ("an_20_solution", 10.6, 2.125, "derived"),  # SJC-N-TABLE: 4.98 lb / 0.47 gal; 2.12-2.13
    ("urea_23_solution", 9.5, 2.18, "derived"),  # SJC-N-TABLE: 4.37 lb / 0.46 gal; 2.17-2.19
    ("app_10_34_0", 11.65, 1.165, "published"),  # FERT-PHYSICAL
    ("ats", 11.04, 1.3248, "published"),  # FERT-PHYSICAL
    ("phosphoric_acid_75", 13.1, 0, "derived"),  # ECHA-ACID: relative density 1.57
    ("phosphoric_acid_85", 14.06, 0, "derived"),  # ENCYC-ACID: 1.6845 g/cm3 at 25 deg C
    ("calcium_nitrate_solution", 12.2, 1.1, "recalled"),  # low; 12.2-12.3
]


@pytest.mark.parametrize(("name", "lb_gal", "lb_n_gal", "evidence"), DENSITIES, ids=[row[0] for row in DENSITIES])
def test_densities_are_as_in_the_source(name: str, lb_gal: float, lb_n_gal: float, evidence: str) -> None:
    found = MATERIALS[name]
    assert found.density is not None
    assert found.density.lb_gal == lb_gal
    assert found.density.evidence == evidence
    assert lb_gal * found.percent["n"] / 100 == pytest.approx(lb_n_gal, abs=0.01)


def test_every_density_that_ships_is_checked() -> None:
    assert {name for name, *_ in DENSITIES} == {name for name, found in MATERIALS.items() if found.density}


@pytest.mark.parametrize(
    ("name", "pounds", "gallons"),
    [("can_17_solution", 5.92, 0.47), ("an_20_solution", 4.98, 0.47), ("urea_23_solution", 4.37, 0.46)],
)
def test_densities_from_pounds_and_gallons_for_a_pound_of_nitrogen(
    name: str, pounds: float, gallons: float
) -> None:
    """SJC-N-TABLE prints both; derived."""
    found = MATERIALS[name]
    assert found.density is not None
    assert found.density.lb_gal == pytest.approx(pounds / gallons, abs=0.01)
    assert found.percent["n"] == pytest.approx(100 / pounds, abs=0.15)


@pytest.mark.parametrize(("name", "kg_l"), [("phosphoric_acid_75", 1.57), ("phosphoric_acid_85", 1.6845)])
def test_densities_from_kilograms_in_a_litre(name: str, kg_l: float) -> None:
    """ECHA-ACID and ENCYC-ACID; derived."""
    found = MATERIALS[name].density
    assert found is not None
    assert found.lb_gal == pytest.approx(kg_l * LB_GAL_PER_KG_L, abs=0.01)


@pytest.mark.parametrize(
    ("name", "others"), [("uan_28", (10.6, 10.65, 10.85)), ("uan_32", (11.05, 11.06, 11.08, 11.14))]
)
def test_densities_of_one_liquid_differ_by_two_percent_at_most_between_sources(
    name: str, others: tuple[float, ...]
) -> None:
    """PURDUE-UAN, SJC-N-TABLE (derived) and general-science pages."""
    found = MATERIALS[name].density
    assert found is not None
    for other in others:
        assert found.lb_gal == pytest.approx(other, rel=0.02)


# --- salt index ----------------------------------------------------------------------------------------------

# Sodium nitrate = 100. All recalled (high) and attributed to MORTVEDT-2001, but for 10-34-0: recalled (medium).
SALT_INDEX = {
    "urea": 74.4,
    "ammonium_nitrate": 104,
    "ammonium_sulfate": 88.3,
    "calcium_nitrate": 65,
    "potassium_nitrate": 69.5,
    "potassium_chloride": 116.2,
    "potassium_sulfate": 42.6,
    "map": 26.7,
    "dap": 29.2,
    "mkp": 8.4,
    "app_10_34_0": 20.0,
}


def test_salt_indexes_are_as_recalled_and_say_so() -> None:
    found = {name: item.salt_index for name, item in MATERIALS.items() if item.salt_index}
    assert {name: index.value for name, index in found.items()} == SALT_INDEX
    assert {index.evidence for index in found.values()} == {Evidence.RECALLED}
    assert {name for name, index in found.items() if index.source == "none"} == {"app_10_34_0"}


def test_no_salt_index_comes_from_the_scale_with_numbers_near_three() -> None:
    assert min(SALT_INDEX.values()) > 8


# --- solubility ----------------------------------------------------------------------------------------------

# CRC-98: mass percent of the solute at 0, 10, 20, 25, 30 and 40 deg C, published; then g per kg of water, derived,
# tolerance 1.
CRC = {
    "ammonium_nitrate": ((54.0, 60.1, 65.5, 68.0, 70.3, 74.3), (1174, 1506, 1899, 2125, 2367, 2891)),
    "ammonium_sulfate": ((41.3, 42.1, 42.9, 43.3, 43.8, 44.7), (704, 727, 751, 764, 779, 808)),
    "calcium_nitrate": ((50.1, 53.1, 56.7, 59.0, 60.9, 65.4), (1004, 1132, 1309, 1439, 1558, 1890)),
    "magnesium_nitrate_6": ((38.4, 39.5, 40.8, 41.6, 42.4, 44.1), (623, 653, 689, 712, 736, 789)),
    "map": ((17.8, 22.0, 26.4, 28.8, 31.2, 36.2), (217, 282, 359, 404, 453, 567)),
    "mkp": ((11.74, 14.91, 18.25, 19.97, 21.77, 25.28), (133, 175, 223, 250, 278, 338)),
    "potassium_nitrate": ((12.0, 17.6, 24.2, 27.7, 31.3, 38.6), (136, 214, 319, 383, 456, 629)),
    "potassium_chloride": ((21.74, 23.61, 25.39, 26.22, 27.04, 28.59), (278, 309, 340, 355, 371, 400)),
    "potassium_sulfate": ((7.11, 8.46, 9.95, 10.7, 11.4, 12.9), (77, 92, 110, 120, 129, 148)),
    "epsom": ((18.2, 21.7, 25.1, 26.3, 28.2, 30.9), (222, 277, 335, 357, 393, 447)),
    "boric_acid": ((2.61, 3.57, 4.77, 5.48, 6.27, 8.10), (27, 37, 50, 58, 67, 88)),
}

# g per L, read as g per kg of water.
PER_WATER = {
    "urea": ((5, 780), (10, 850), (20, 1060), (25, 1200)),  # FERT-SOLUBILITY, published
    "dap": ((0, 429), (40, 429)),  # KNOTT-1980, 358 lb in 100 gal of cold water, derived
    "dot": ((20, 94.7), (40, 94.7)),  # KNOTT-1980, 79 lb in 100 gal at 68 deg F, derived
    "borax_5": ((20, 26.5), (40, 26.5)),  # recalled, medium
}

HYDRATES = {"epsom": ("MgSO4", 7), "magnesium_nitrate_6": ("Mg(NO3)2", 6)}


def test_every_solubility_that_ships_is_checked() -> None:
    assert {*CRC, *PER_WATER} == {name for name, found in MATERIALS.items() if found.solubility}


@pytest.mark.parametrize("name", CRC)
def test_solubility_is_as_in_crc_98(name: str) -> None:
    found = MATERIALS[name].solubility
    assert found is not None
    mass_percent, per_water = CRC[name]
    assert found.unit == "mass percent"
    assert found.rows == tuple(zip(CELSIUS, mass_percent, strict=True))
    assert "CRC-98" in found.source
    for (_, share), salt in zip(table(name).rows, per_water, strict=True):
        anhydrous = share * (1 - found.crystal_water / 100)
        assert g_per_kg_water(anhydrous) == pytest.approx(salt, abs=1)


@pytest.mark.parametrize("name", CRC)
def test_only_the_salt_that_is_weighed_with_its_water_is_converted(name: str) -> None:
    shares = [share for _, share in table(name).rows]
    factor = 1.0
    if name in HYDRATES:
        anhydrous, waters = HYDRATES[name]
        salt = periodictable.formula(anhydrous).mass
        factor = (salt + waters * periodictable.formula("H2O").mass) / salt
    assert shares == pytest.approx([percent / 100 * factor for percent in CRC[name][0]], rel=1e-4)


@pytest.mark.parametrize("name", PER_WATER)
def test_solubility_per_water_is_as_in_the_source(name: str) -> None:
    found = MATERIALS[name].solubility
    assert found is not None
    assert found.unit == "g/kg water"
    assert found.rows == PER_WATER[name]
    for (_, share), (_, printed) in zip(table(name).rows, PER_WATER[name], strict=True):
        assert g_per_kg_water(share) == pytest.approx(printed, rel=1e-9)


# KNOTT-1980, cold water: lb in 100 gal, published; g per L, derived, tolerance 0.5.
COLD = {
    "ammonium_nitrate": (984, 1179),
    "ammonium_sulfate": (592, 709),
    "calcium_nitrate": (851, 1020),
    "dap": (358, 429),
    "map": (192, 230),
    "potassium_nitrate": (108, 129),
    "urea": (651, 780),
    "epsom": (592, 709),
    "dot": (79, 94.7),
}


@pytest.mark.parametrize("name", COLD)
def test_pounds_in_100_gallons_are_grams_in_a_litre(name: str) -> None:
    pounds, grams = COLD[name]
    assert pounds * MG_PER_LB / 1000 / (100 * L_PER_GAL) == pytest.approx(grams, abs=0.5)


@pytest.mark.parametrize(
    ("name", "within"),
    [
        ("ammonium_nitrate", 0.01),  # 1179 against 1174
        ("ammonium_sulfate", 0.01),  # 709 against 704
        ("calcium_nitrate", 0.02),  # 1020 against 1004
        ("map", 0.06),  # 230 against 217
        ("potassium_nitrate", 0.06),  # 129 against 136
    ],
)
def test_cold_water_figures_of_two_sources_agree(name: str, within: float) -> None:
    """KNOTT-1980 against CRC-98 at 0 deg C; derived."""
    assert g_per_kg_water(table(name).rows[0][1]) == pytest.approx(COLD[name][1], rel=within)


def test_urea_in_cold_water_agrees_between_two_lists() -> None:
    """KNOTT-1980, cold, against FERT-SOLUBILITY at 5 deg C."""
    assert g_per_kg_water(table("urea").rows[0][1]) == pytest.approx(COLD["urea"][1], rel=0.001)


def test_where_two_sources_disagree_in_the_cold_the_lower_one_is_taken() -> None:
    """DAP: 429 of KNOTT-1980 against 572 of CRC-98; Epsom salt: 594 of CRC-98 against 709 of KNOTT-1980."""
    assert g_per_kg_water(table("dap").rows[0][1]) == pytest.approx(min(429, 572), abs=1)
    assert g_per_kg_water(table("epsom").rows[0][1]) == pytest.approx(min(594, 709), abs=1)


# CRC-98, molality in saturated water: (g of anhydrous salt per kg water at 10, 20 and 25 deg C, tolerance 1).
MOLALITY = {
    "calcium_nitrate": (164.09, (6.896, 7.986, 8.675), (1132, 1310, 1423)),
    "ammonium_nitrate": (80.04, (18.809, 23.721, 26.496), (1506, 1899, 2121)),
    "ammonium_sulfate": (132.13, (5.494, 5.688, 5.790), (726, 752, 765)),
    "magnesium_nitrate_6": (148.31, (4.403, 4.656, 4.800), (653, 691, 712)),
}


@pytest.mark.parametrize("name", MOLALITY)
def test_the_two_tables_of_crc_98_agree(name: str) -> None:
    molar_mass, molalities, grams = MOLALITY[name]
    found = MATERIALS[name].solubility
    assert found is not None
    rows = dict(table(name).rows)
    for celsius, molality, printed in zip((10, 20, 25), molalities, grams, strict=True):
        assert molality * molar_mass == pytest.approx(printed, abs=1)
        anhydrous = rows[celsius] * (1 - found.crystal_water / 100)
        assert g_per_kg_water(anhydrous) == pytest.approx(printed, rel=0.015)


# Solubility at other places, g per 100 g of water (MAP: a literature fit; KNO3: two chemistry teaching pages).
@pytest.mark.parametrize(
    ("name", "celsius", "grams", "within"),
    [
        ("map", 10, 29.4, 0.05),
        ("map", 20, 36.8, 0.03),
        ("map", 25, 41.0, 0.02),
        ("map", 30, 45.6, 0.01),
        ("potassium_nitrate", 20, 31.6, 0.02),
        ("potassium_nitrate", 10, 21.0, 0.02),
        ("potassium_chloride", 20, 34.2, 0.01),  # recalled, high
        ("potassium_sulfate", 20, 11.1, 0.01),  # FERT-SOLUBILITY
        ("boric_acid", 20, 4.72, 0.07),  # ENCYC-ACID
        ("urea", 20, 108.0, 0.02),  # recalled, high
        ("dot", 20, 9.7, 0.03),  # recalled, high
    ],
)
def test_solubility_agrees_with_other_lists(name: str, celsius: float, grams: float, within: float) -> None:
    share = table(name).limit_lb_gal(celsius) / LB_GAL_PER_KG_L
    assert g_per_kg_water(share) / 10 == pytest.approx(grams, rel=within)


def test_calcium_nitrate_read_as_the_anhydrous_salt_is_on_the_safe_side() -> None:
    """The product, 5Ca(NO3)2.NH4NO3.10H2O, weighs more than the anhydrous salt that it brings; derived."""
    salt = 5 * periodictable.formula("Ca(NO3)2").mass
    product = periodictable.formula("(Ca(NO3)2)5NH4NO3(H2O)10").mass
    for (_, share), percent in zip(table("calcium_nitrate").rows, CRC["calcium_nitrate"][0], strict=True):
        assert share < percent / 100 * product / salt


# --- what is misleading in print -----------------------------------------------------------------------------


def test_potassium_nitrate_is_not_one_temperature_step_low() -> None:
    """FERT-SOLUBILITY prints 209 g/L at 20 deg C; CRC-98 has 319 g/kg water there and 214 at 10 deg C."""
    rows = dict(table("potassium_nitrate").rows)
    assert g_per_kg_water(rows[20]) == pytest.approx(319, abs=1)
    assert g_per_kg_water(rows[10]) == pytest.approx(209, rel=0.03)


def test_potassium_chloride_per_solution_is_not_read_as_per_water() -> None:
    """FERT-SOLUBILITY prints 255 g/L at 20 deg C, grams per kg of solution (CRC-98: 25.39 mass percent)."""
    share = dict(table("potassium_chloride").rows)[20]
    assert share == pytest.approx(0.255, abs=0.002)
    assert g_per_kg_water(share) == pytest.approx(340, abs=1)


def test_anhydrous_magnesium_sulfate_is_not_read_as_epsom_salt() -> None:
    """CRC-98 prints 25.1 mass percent of MgSO4 at 20 deg C, which is twice as much Epsom salt."""
    assert dict(table("epsom").rows)[20] == pytest.approx(0.514, abs=0.001)


def test_calcium_nitrate_holds_the_calcium_of_the_product_and_not_of_the_anhydrous_salt() -> None:
    """NRCS-NM-76 prints 24 % Ca, the anhydrous pure salt; 26.6 % CaO x 0.7147 is 19.0."""
    percent = MATERIALS["calcium_nitrate"].percent["ca"]
    assert mass_fraction("Ca(NO3)2", "Ca") == pytest.approx(24.4, abs=0.05)
    assert percent == pytest.approx(26.6 * 0.7147, abs=0.05)
    assert percent == pytest.approx(mass_fraction("(Ca(NO3)2)5NH4NO3(H2O)10", "Ca"), abs=0.5)


def test_elemental_potassium_and_phosphorus_are_not_read_as_label_forms() -> None:
    """DPIRD-2016 prints 38 % K for potassium nitrate and 22.8 % P for MAP, both elemental."""
    label = 38 * K2O_PER_K
    assert label == pytest.approx(45.8, abs=0.05)
    assert MATERIALS["potassium_nitrate"].percent["k2o"] == pytest.approx(label, rel=0.05)
    assert 48 <= MATERIALS["map"].percent["p2o5"] <= 22.8 * P2O5_PER_P


def test_every_material_says_what_kind_it_is() -> None:
    liquids = {name for name, found in MATERIALS.items() if found.liquid}
    assert liquids == {name for name, *_ in DENSITIES} | {"drip_7_0_7", "drip_4_0_8"}
