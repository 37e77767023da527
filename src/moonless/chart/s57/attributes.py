"""S-57 attribute values as Python values, whatever the file kept them as.

Types are those of IHO S-57 edition 3.1, appendix A, chapter 2: E (coded), I (integer), F (float), L (list of codes),
A and S (text).  An ENC gives numbers and text, a GeoPackage may give lists as "1,3" or as JSON; here both become one.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

import numpy as np

Attribute = str | int | float | list[int] | list[str]
"""A value by its S-57 type."""
Attributes = Mapping[str, Attribute]
"""By S-57 acronym; absent: not given."""


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# Type L, and the kinds of relation beside LNAM_REFS, which GDAL gives as a list likewise.
LISTS = _words(
    "CATAIR CATACH CATBRG CATDPG CATHAF CATHLK CATLND CATLMK CATLIT CATMPA CATOFP CATPIP CATROS CATRSC CATREA "
    "CATSIT CATSIW CATSCF CATSPM CATVEG COLOUR COLPAT FUNCTN LITVIS NATCON NATSUR NATQUA PRODCT QUASOU RESTRN "
    "STATUS SURTYP TECSOU FFPT_RIND"
)
# Types E and I.
WHOLE = _words(
    "BCNSHP BUISHP BOYSHP CATBUA CATCBL CATCAN CATCAM CATCHP CATCOA CATCTR CATCON CATCOV CATCRN CATDAM CATDIS "
    "CATDOC CATFNC CATFRY CATFIF CATFOG CATFOR CATGAT CATICE CATINB CATLAM CATMFA CATMOR CATNAV CATOBS CATOLB "
    "CATPLE CATPIL CATPRA CATPYL CATQUA CATRAS CATRTB CATTRK CATROD CATRUN CATSEA CATSLC CATSIL CATSLO CATTSS "
    "CATWAT CATWED CATWRK CATZOC CONDTN CONRAD CONVIS DUNITS EXCLIT EXPSOU HUNITS JRSDTN LITCHR MARSYS SIGGEN "
    "T_ACWL T_MTOD TOPSHP TRAFIC VERDAT WATLEV CAT_TS PUNITS HORDAT QUAPOS CSCALE MLTYLT SCAMAX SCAMIN SCVAL1 "
    "SCVAL2 SIGFRQ SDISMX SDISMN T_TINT"
)
# Type F, and the depth that is split off a sounding.
NUMBERS = _words(
    "BURDEP CURVEL DRVAL1 DRVAL2 ELEVAT ESTRNG HEIGHT HORACC HORCLR HORLEN HORWID ICEFAC LIFCAP ORIENT RADIUS "
    "SECTR1 SECTR2 SIGPER SOUACC VALACM VALDCO VALLMA VALMAG VALMXR VALNMR VALSOU VERACC VERCLR VERCCL VERCOP "
    "VERCSA VERLEN POSACC DEPTH"
)

# RIND of the FFPT field: 1 master, 2 slave, 3 peer (S-57 edition 3.1, part 3; from memory).
_MASTER_OR_SLAVE = frozenset({1, 2})
_LONG_NAME = re.compile(r"\b[0-9A-Fa-f]{16}\b")
# GDAL writes a list into a text column as "(2:3,1)": how many, then which.
_COUNT = re.compile(r"^\s*\(\d+:")
_CODE = re.compile(r"-?\d+")
# What some producers write for "not known"; a chart with these is read as giving nothing.
_NO_NUMBER = frozenset({"", "unknown", "null", "none", "nan", "?"})


def codes(given: Attributes, name: str) -> tuple[int, ...]:
    """Return a list attribute's codes in order; empty if the chart does not give it."""
    value = given.get(name)
    return tuple(int(code) for code in value) if isinstance(value, list | tuple) else ()


def number(given: Attributes, name: str) -> float | None:
    """Return a number; None if the chart does not give it, or it is none."""
    value = given.get(name)
    return _number(value.item() if isinstance(value, np.generic) else value)


def text(given: Attributes, name: str) -> str | None:
    """Return a text; None if the chart does not give it."""
    value = given.get(name)
    return value or None if isinstance(value, str) else None


def normalised(name: str, value: object) -> Attribute | None:
    """Return one attribute value by its S-57 type; None if it says nothing.

    Lists become lists of ints, coded and whole numbers ints, floats floats (finite), text stripped text.  A value
    that is not of its type says nothing.
    """
    if value is None:
        return None
    if isinstance(value, np.ndarray):
        value = value.tolist()
    elif isinstance(value, np.generic):
        value = value.item()
    if name in LISTS:
        return _codes(value)
    if name == "LNAM_REFS":
        return _long_names(value)
    if name in WHOLE or name in NUMBERS:
        number = _number(value)
        return number if number is None or name in NUMBERS else round(number)
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, str):
        return value.strip() or None
    return value if isinstance(value, int | list) and value != [] else None


def from_row(row: Mapping[str, object]) -> dict[str, Attribute]:
    """Return the attributes that say something; absent means not given.

    Of the relations (LNAM_REFS) only those of master and slave are kept: they make one thing of several features.
    """
    out: dict[str, Attribute] = {}
    for name, value in row.items():
        kept = normalised(name, value)
        if kept is not None:
            out[name] = kept
    related = out.pop("FFPT_RIND", None)
    named = out.get("LNAM_REFS")
    if isinstance(named, list) and isinstance(related, list):
        out["LNAM_REFS"] = [str(name) for name, kind in zip(named, related, strict=False) if kind in _MASTER_OR_SLAVE]
    return out


def _number(value: object) -> float | None:
    if isinstance(value, str):
        text = value.strip().lower()
        if text in _NO_NUMBER:
            return None
        try:
            value = float(text)
        except ValueError:
            return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None


def _long_names(value: object) -> list[str] | None:
    text = " ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)
    return [name.upper() for name in _LONG_NAME.findall(text)] or None


def _codes(value: object) -> list[int] | None:
    if isinstance(value, str):
        codes = [int(code) for code in _CODE.findall(_COUNT.sub("", value))]
    elif isinstance(value, list | tuple):
        codes = [int(code) for item in value for code in _CODE.findall(str(item))]
    elif isinstance(value, int):
        codes = [value]
    elif isinstance(value, float) and math.isfinite(value):
        codes = [round(value)]
    else:
        return None
    return codes or None
