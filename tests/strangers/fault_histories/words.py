"""What a technician calls the things that go wrong; the words in which truth and findings meet."""

from typing import Final

FAULTS: Final = {
    "seal leaks": "brine passes an O-ring or the brine seal of the membrane, or its end does not sit",
    "membrane damaged": "the membrane is torn, burst, dried out or defective",
    "membrane oxidised": "chlorine has attacked the membrane",
    "membrane scaled": "hardness has settled on the membrane",
    "membrane fouled": "fines, colloids or slime lie on the membrane",
    "membrane worn out": "the membrane has reached the end of its life",
    "wrong membrane": "the membrane in the housing is not the one in the papers",
    "permeate held back": "something behind the membrane holds the permeate back: valve, tube, closed tap",
    "restrictor blocked": "the flow restrictor lets too little water to the drain",
    "restrictor of wrong size": "the flow restrictor is not the one that belongs to this membrane",
    "restrictor passes too much": "the restrictor is worn, missing, or a flush valve stands open",
    "prefilter clogged": "sediment or carbon cartridge lets too little water through",
    "supply pressure low": "the water arrives with less pressure than before",
    "booster pump fails": "the pump gives little or no pressure",
    "shut-off valve fails": "the automatic shut-off valve does not close",
    "check valve fails": "the check valve lets the stored water back, so that the feed never stops",
    "no shut-off valve fitted": "the float alone stops the product, and the concentrate runs on",
    "tank lost its air": "the tank has lost its air charge",
    "carbon exhausted": "the carbon lets chlorine through",
    "carbon unfit for chloramine": "the supply carries chloramine and the carbon is of the ordinary kind",
    "resin exhausted": "the last resin lets salt through",
    "lead resin exhausted": "the first of two resins lets salt through while the second holds",
    "resins in the wrong order": "the fresher resin stands in front of the older one",
    "resin loaded unseen": "carbon dioxide or silica loads the resin beyond what the TDS meter sees",
    "feed and permeate exchanged": "two values of a reading stand in each other's place",
    "value mistyped": "a value of a reading was written or read wrongly",
    "meter wrong": "the meter is set to another scale, or off",
    "feed water changed": "the supply brings another water",
    "totaliser replaced": "the counter was replaced or reset",
    "water on the floor": "the unit leaks",
}
"""Each with what it means."""
