"""Word lists of laboratory reports: headers, analytes, units. Keys are in the form of `words.squeeze`."""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class Role(StrEnum):
    """What a column of a report says."""

    BLOCK = "block"
    SAMPLE = "sample_id"
    NAME = "name"
    SAMPLED = "sampled"
    RECEIVED = "received"
    TISSUE = "tissue"
    BASIS = "basis"
    ANALYTE = "analyte"
    VALUE = "value"
    UNIT = "unit"
    LIMIT = "limit"
    QUALIFIER = "qualifier"
    PETIOLES = "petioles"
    METHOD = "method"
    LABORATORY = "laboratory"
    NOTE = "note"
    IGNORE = "ignore"


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


_ROLE_WORDS: Final = {
    Role.BLOCK: _words("block blockid blockno block# blockname blocknumber blockkey"),
    Role.SAMPLE: _words(
        "sample sampleid sampleno sample# samplenumber samplecode labno lab# labid labnumber labsampleid "
        "labsampleno labsample# labsamplenumber laboratoryid laboratoryno laboratorynumber laboratorysampleid"
    ),
    Role.NAME: _words(
        "name samplename sampledescription field fieldid fieldno field# fieldname location growersample "
        "growersampleid growerid clientsampleid clientid customersampleid site siteid description subfield "
        "samplelocation"
    ),
    Role.SAMPLED: _words(
        "sampled datesampled sampledate samplingdate sampledon dateofsampling collected datecollected "
        "collectiondate collectedon samplecollected samplecollectiondate datetaken taken date"
    ),
    Role.RECEIVED: _words(
        "received datereceived receiveddate receiptdate receivedon dateofreceipt samplereceived datesamplereceived"
    ),
    Role.TISSUE: _words("tissue plantpart tissuetype sampletype plantparttype partsampled partofplant matrix"),
    Role.BASIS: _words("basis reportingbasis weightbasis resultbasis"),
    Role.ANALYTE: _words(
        "analyte parameter test testname testparameter analysis element nutrient constituent determination"
    ),
    Role.VALUE: _words("value result results concentration conc reading amount resultvalue testresult"),
    Role.UNIT: _words(
        "unit units uom unitofmeasure unitsofmeasure unitofmeasurement resultunit resultunits reportingunit"
    ),
    Role.LIMIT: _words(
        "limit mdl rl lod loq pql reportinglimit detectionlimit limitofdetection limitofquantification "
        "limitofquantitation methoddetectionlimit reportlimit quantitationlimit quantificationlimit"
    ),
    Role.QUALIFIER: _words("qualifier qualifiers flag flags resultqualifier resultflag dataqualifier"),
    Role.PETIOLES: _words(
        "petioles noofpetioles numberofpetioles petiolecount #petioles numberofleaves noofleaves petiolenumber"
    ),
    Role.METHOD: _words("method testmethod analysismethod analyticalmethod methodology"),
    Role.LABORATORY: _words("laboratory lab labname laboratoryname"),
    Role.NOTE: _words("note notes remark remarks comment comments"),
    Role.IGNORE: _words(
        "reported datereported reportdate reportedon reportno report# reportnumber reportid completed "
        "datecompleted analyzed analysed dateanalyzed dateanalysed analysisdate datetested processed "
        "dateprocessed printed dateprinted crop cropname crops commodity variety cultivar grower growername "
        "producer farm farmname client clientname customer customername account accountno account# "
        "accountnumber company stage growthstage cropstage phase invoice invoiceno invoice# order orderno "
        "order# ordernumber submittedby submitter sampledby collectedby sampler analyst county state zip "
        "city address phone email consultant advisor season latitude longitude depth sampledepth page "
        "low high deficient sufficient optimum optimal normal excess excessive adequate toxic"
    ),
}

ROLES: Final = {word: role for role, words in _ROLE_WORDS.items() for word in words}
"""Role by squeezed header."""

VAGUE_DATES: Final = frozenset({"date"})
"""Headers that leave open which day is meant."""

_ANALYTE_WORDS: Final = {
    "NO3-N": _words(
        "no3n nno3 nitraten nitratenitrogen nitrateasn nitratesasn nitrateasnitrogen no3asn no3nitrogen "
        "nitratesn nitratesnitrogen"
    ),
    "NO3": _words("no3 nitrateasno3 nitratesasno3 nitrateion"),
    "N": _words("n totaln nitrogen totalnitrogen ntotal nitrogentotal tn"),
    "P": _words("p phosphorus phosphorous totalp totalphosphorus"),
    "K": _words("k potassium totalk totalpotassium"),
    "Ca": _words("ca calcium totalca totalcalcium"),
    "Mg": _words("mg magnesium totalmg totalmagnesium"),
    "S": _words("s sulfur sulphur totalsulfur totalsulphur"),
    "PO4-P": _words("po4p ppo4 phosphatep phosphateasp phosphatephosphorus po4asp"),
    "B": _words("b boron totalb"),
    "Zn": _words("zn zinc totalzn"),
    "Mn": _words("mn manganese totalmn"),
    "Fe": _words("fe iron totalfe"),
    "Cu": _words("cu copper totalcu"),
}
ANALYTE_OF: Final = {word: name for name, words in _ANALYTE_WORDS.items() for word in words}
ANALYTE_NAMES: Final = tuple(_ANALYTE_WORDS)
"""Analytes as `Row.fields` names them; NO3 is converted on entry."""

NITRATE: Final = "nitrate"
"""The analyte of a column headed "Nitrate" until it is told whether NO3 or NO3-N is meant."""
NITRATE_WORDS: Final = frozenset(_words("nitrate nitrates"))

UNUSED_ANALYTES: Final = frozenset(
    _words(
        "na sodium al aluminum aluminium mo molybdenum cl chloride chlorine ni nickel si silicon co cobalt se "
        "selenium cr chromium cd cadmium pb lead as arsenic ba barium sr strontium li lithium ti v vanadium "
        "nh4 nh4n nnh4 ammonium ammoniumn ammoniumnitrogen ammonian ammonia no2 no2n nitrite nitriten so4 so4s "
        "sulfate sulphate sulfates c carbon totalc totalcarbon cn cnratio ns nsratio nk nkratio np npratio "
        "drymatter dm solids totalsolids moisture water watercontent ph ec conductivity "
        "electricalconductivity salts brix sugar sugars ash"
    )
)
"""Analytes that laboratories print and the program has no use for."""

RANKS: Final = frozenset(
    _words(
        "rating ratings rank ranking status sufficiency interpretation range ranges index dris guideline "
        "guidelines recommendation recommendations class"
    )
)
"""Words of a header that make its column a ranking in words, not a value."""

FILLERS: Final = frozenset(_words("tissue plant conc concentration content result value level of in"))
"""Words of an analyte's header that add nothing."""

PETIOLE_WORDS: Final = frozenset(_words("petiole petioles"))
LEAF_WORDS: Final = frozenset(_words("leaf leaves blade blades leaflet leaflets"))
LEFT_OUT: Final = frozenset(
    _words(
        "without w/o minus less not except excl exclude excludes excluded excluding remove removed removing "
        "discard discarded detached stripped"
    )
)
"""Words by which one tissue is taken off another."""
JOINED: Final = frozenset(_words("with and plus + & w/ or incl include included including versus vs"))
"""Words that put two tissues side by side."""
DRY_WORDS: Final = frozenset(_words("dry dried dw dm dryweight drywt drymatter drybasis drymass"))

UNITS: Final = (
    dict.fromkeys(_words("mg/kg mgkg mgkg-1 mg.kg-1 μg/g ug/g mcg/g"), "mg/kg")
    | dict.fromkeys(_words("ppm partspermillion"), "ppm")
    | dict.fromkeys(_words("g/kg gkg gkg-1"), "g/kg")
    | dict.fromkeys(_words("% pct percent percentage wt% %wt g/100g"), "%")
    | dict.fromkeys(_words("mg/l mgl mgl-1 mg/liter mg/litre μg/ml ug/ml mcg/ml"), "mg/L")
    | dict.fromkeys(_words("g/l gl-1 g/liter g/litre"), "g/L")
    | dict.fromkeys(_words("mmol/l mmoll-1 mmol/liter mmol/litre"), "mmol/L")
)
"""Unit by its text without blanks and brackets, in lower case."""

SUMMARY: Final = frozenset(
    (
        *_words("total totals average averages avg mean means median min minimum max maximum sd count n"),
        *_words("std stdev stddev cv"),
        *("std dev", "standard deviation", "grand total", "grand mean", "std deviation", "cv %"),
    )
)
"""First cells of rows that sum up other rows."""
