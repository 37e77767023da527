"""S-57 object classes and restrictions in the words of the trade: the one table every voice, page and screen reads.

The acronyms are those of IHO S-57 edition 3.1, appendix A; the words are its own class names, shortened as a
mariner says them.
"""

from __future__ import annotations

OBJECT_NAMES: dict[str, str] = {
    # aids to navigation
    "BCNCAR": "cardinal beacon", "BCNISD": "isolated danger beacon", "BCNLAT": "lateral beacon",
    "BCNSAW": "safe water beacon", "BCNSPP": "special beacon", "BOYCAR": "cardinal buoy",
    "BOYINB": "installation buoy", "BOYISD": "isolated danger buoy", "BOYLAT": "lateral buoy",
    "BOYSAW": "safe water buoy", "BOYSPP": "special buoy", "DAYMAR": "daymark", "LIGHTS": "light",
    "LITFLT": "light float", "LITVES": "light vessel", "RADRFL": "radar reflector", "RTPBCN": "racon",
    # what stands, lies or floats in the water
    "CAUSWY": "causeway", "DAMCON": "dam", "DYKCON": "dyke", "FLODOC": "floating dock", "FSHFAC": "fishing stakes",
    "GATCON": "gate", "GRIDRN": "gridiron", "HULKES": "hulk", "LOGPON": "log pond", "MARCUL": "marine farm",
    "MORFAC": "mooring", "OBSTRN": "obstruction", "OFSPLF": "platform", "OILBAR": "oil barrier", "PILPNT": "pile",
    "PONTON": "pontoon", "PYLONS": "pylon", "RAPIDS": "rapids", "SLCONS": "shore works", "UWTROC": "rock",
    "WATFAL": "waterfall", "WATTUR": "overfalls or breakers", "WRECKS": "wreck",
    # ashore and overhead
    "BRIDGE": "bridge", "BUISGL": "building", "CBLOHD": "overhead cable", "CONVYR": "conveyor", "CRANES": "crane",
    "LNDARE": "land", "LNDMRK": "landmark", "PIPOHD": "overhead pipe", "SILTNK": "tank",
    # areas and ways
    "ACHARE": "anchorage", "ACHBRT": "anchor berth", "CBLARE": "submarine cable area", "CTNARE": "caution area",
    "CTSARE": "cargo transhipment area", "DEPARE": "depth area", "DMPGRD": "dumping ground",
    "DRGARE": "dredged area", "DWRTPT": "deep water route", "FAIRWY": "fairway", "FERYRT": "ferry route",
    "FSHGRD": "fishing ground", "FSHZNE": "fishery zone", "ICEARE": "ice area", "ICNARE": "incineration area",
    "ISTZNE": "inshore traffic zone", "MIPARE": "military practice area", "OSPARE": "offshore production area",
    "PIPARE": "submarine pipeline area", "PRCARE": "precautionary area", "RESARE": "restricted area",
    "SNDWAV": "sand waves", "SOUNDG": "sounding", "SPLARE": "seaplane landing area",
    "SUBTLN": "submarine transit lane", "TSEZNE": "traffic separation zone", "TSSCRS": "traffic scheme crossing",
    "TSSLPT": "traffic lane", "TSSRON": "traffic roundabout", "TWRTPT": "two-way route", "UNSARE": "unsurveyed area",
    "WEDKLP": "weed or kelp",
}  # fmt: skip

# RESTRN: IHO S-57 edition 3.1, appendix A, chapter 2, attribute 131 (16 to 27 from memory).
RESTRICTION_NAMES: dict[int, str] = {
    1: "anchoring prohibited", 2: "anchoring restricted", 3: "fishing prohibited", 4: "fishing restricted",
    5: "trawling prohibited", 6: "trawling restricted", 7: "entry prohibited", 8: "entry restricted",
    9: "dredging prohibited", 10: "dredging restricted", 11: "diving prohibited", 12: "diving restricted",
    13: "no wake", 14: "area to be avoided", 15: "construction prohibited", 16: "discharging prohibited",
    17: "discharging restricted", 18: "exploration or development prohibited",
    19: "exploration or development restricted", 20: "drilling prohibited", 21: "drilling restricted",
    22: "removal of historical artifacts prohibited", 23: "cargo transhipment prohibited", 24: "dragging prohibited",
    25: "stopping prohibited", 26: "landing prohibited", 27: "speed restricted",
}  # fmt: skip


def object_name(object_class: str) -> str:
    """Return a charted class in plain words."""
    return OBJECT_NAMES.get(object_class, "charted thing")


def restriction_name(code: int) -> str:
    """Return a value of RESTRN in words; one this edition does not know is told by its number."""
    return RESTRICTION_NAMES.get(code, f"restriction {code}")
