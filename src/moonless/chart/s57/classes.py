"""S-57 object classes, grouped by what they are to a radar and a keel.

The acronyms are those of IHO S-57 edition 3.1, appendix A, chapter 1.  The grouping is ours.
"""

from __future__ import annotations

from moonless.chart.s57.attributes import Attributes


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# Every acronym of the object catalogue: how a layer is known to be chart data.
KNOWN = _words(
    "ADMARE AIRARE ACHBRT ACHARE BCNCAR BCNISD BCNLAT BCNSAW BCNSPP BERTHS BRIDGE BUISGL BUAARE BOYCAR BOYINB "
    "BOYISD BOYLAT BOYSAW BOYSPP CBLARE CBLOHD CBLSUB CANALS CANBNK CTSARE CAUSWY CTNARE CHKPNT CGUSTA COALNE "
    "CONZNE COSARE CTRPNT CONVYR CRANES CURENT CUSZNE DAMCON DAYMAR DWRTCL DWRTPT DEPARE DEPCNT DISMAR DOCARE "
    "DRGARE DRYDOC DMPGRD DYKCON EXEZNE FAIRWY FNCLNE FERYRT FSHZNE FSHFAC FSHGRD FLODOC FOGSIG FORSTC FRPARE "
    "GATCON GRIDRN HRBARE HRBFAC HULKES ICEARE ICNARE ISTZNE LAKARE LAKSHR LNDARE LNDELV LNDRGN LNDMRK LIGHTS "
    "LITFLT LITVES LOCMAG LOKBSN LOGPON MAGVAR MARCUL MIPARE MORFAC NAVLNE OBSTRN OFSPLF OSPARE OILBAR PILPNT "
    "PILBOP PIPARE PIPOHD PIPSOL PONTON PRCARE PRDARE PYLONS RADLNE RADRNG RADRFL RADSTA RTPBCN RDOCAL RDOSTA "
    "RAILWY RAPIDS RCRTCL RECTRC RCTLPT RSCSTA RESARE RETRFL RIVERS RIVBNK ROADWY RUNWAY SNDWAV SEAARE SPLARE "
    "SBDARE SLCONS SISTAT SISTAW SILTNK SLOTOP SLOGRD SMCFAC SOUNDG SPRING SQUARE STSLNE SUBTLN SWPARE TESARE "
    "TS_PRH TS_PNH TS_PAD TS_TIS T_HMON T_NHMN T_TIMS TIDEWY TOPMAR TSELNE TSSBND TSSCRS TSSLPT TSSRON TSEZNE "
    "TUNNEL TWRTPT UWTROC UNSARE VEGATN WATTUR WATFAL WEDKLP WRECKS TS_FEB M_ACCY M_CSCL M_COVR M_HDAT M_HOPA "
    "M_NPUB M_NSYS M_PROD M_QUAL M_SDAT M_SREL M_UNIT M_VDAT C_AGGR C_ASSO C_STAC"
)

BEACONS = ("BCNCAR", "BCNISD", "BCNLAT", "BCNSAW", "BCNSPP")
BUOYS = ("BOYCAR", "BOYINB", "BOYISD", "BOYLAT", "BOYSAW", "BOYSPP")
FLOATS = (*BUOYS, "LITFLT", "LITVES")
# What carries the rest of an aid: its light, topmark, daymark, racon, reflector, fog signal.
AID_STRUCTURES = (*BEACONS, *FLOATS)
EQUIPMENT = ("LIGHTS", "TOPMAR", "DAYMAR", "RTPBCN", "RADRFL", "RETRFL", "FOGSIG", "SISTAT", "SISTAW", "RDOSTA")

# Built things along and off the shore, by line or area, that send an echo back.
STRUCTURES = (
    "SLCONS", "PONTON", "MORFAC", "PILPNT", "CAUSWY", "DAMCON", "OFSPLF", "HULKES", "FLODOC", "DYKCON", "GATCON",
    "OILBAR", "LOGPON", "CRANES", "CONVYR", "PYLONS", "FSHFAC", "MARCUL", "WRECKS", "OBSTRN",
)  # fmt: skip

DEPTH_AREAS = ("DEPARE", "DRGARE")
DANGERS = ("OBSTRN", "WRECKS", "UWTROC")
# Not water, and not seabed with a depth.  Group 1 of the ENC product specification (S-57 appendix B.1; from memory)
# names these with DEPARE, DRGARE, LNDARE and UNSARE as what covers a cell without gap or overlap.
SOLID_ON_WATER = ("PONTON", "HULKES", "FLODOC")


def stands_above_water(name: str, attributes: Attributes) -> bool:
    """Return whether a thing shows above water at some state of the tide, so that a radar may see it.

    WATLEV: 1 partly submerged at high water, 2 always dry, 4 covers and uncovers, 5 awash, 7 floating; 3 always under
    water, 6 subject to flooding (low land).  Wrecks: CATWRK 4 mast showing, 5 hull or superstructure showing.
    What is built to stand above water is taken to do so unless the chart says it is always under.
    """
    water = attributes.get("WATLEV")
    if name == "WRECKS":
        return attributes.get("CATWRK") in (4, 5) or water in (1, 2, 4)
    if name in ("UWTROC", "OBSTRN", "MARCUL"):
        if water is None:
            # Stakes and frames of a fishery above water are what a mariner meets; a reef laid on the bottom has depth.
            return name == "MARCUL" and attributes.get("VALSOU") is None
        return water in (1, 2, 4, 7)
    return water != 3
