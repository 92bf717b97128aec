"""Headers as German-speaking companies write them: which English header means the same, and in which unit."""

import re
from collections.abc import Iterator, Mapping
from typing import Final

from fleet.forecasting.files.headers import tidy

_HEADERS: Final[Mapping[str, str]] = {
    # whom and where
    "client": "Kunde, Kunden, Kundenname, Auftraggeber, Name des Kunden",
    "address": "Straße, Str, Anschrift, Adresse, Straße und Hausnummer, Standort, Aufstellort",
    "contact": "Ansprechpartner, Ansprechpartnerin, Kontakt, Kontaktperson",
    "postcode": "PLZ, Postleitzahl",
    "town": "Ort, Stadt, Wohnort, Gemeinde",
    "email": "Mailadresse, E-Mail-Adresse, Mail-Adresse",
    "phone": "Telefon, Telefonnummer, Tel, Tel Nr, Handy, Mobil, Mobilnummer, Rufnummer",
    "note": "Bemerkung, Bemerkungen, Notiz, Notizen, Anmerkung, Anmerkungen, Hinweis, Kommentar",
    "latitude": "Breite, Breitengrad, geografische Breite, Startbreite, Start Breite",
    "longitude": "Länge, Längengrad, geografische Länge, Startlänge, Start Länge",
    "access notes": "Zugang, Zutritt",
    "opening hours": "Öffnungszeiten",
    "water works": "Wasserwerk, Versorger, Wasserversorger, Zweckverband",
    "chloraminated": "Chloramin, Chloramine",
    "own well": "Brunnen, eigener Brunnen, Hausbrunnen",
    # the unit
    "unit": "Anlage, Anlagennummer, Anlagennr, Anlagen Nr, Anlage Nr, Gerät, Gerätenummer, Geräte Nr",
    "serial number": "Seriennummer, Seriennr, Serien Nr, Fabriknummer",
    "use": "Einsatz, Verwendung, Verwendungszweck, Nutzung, Zweck, Anwendung",
    "unit type": "Anlagentyp, Bauart, Gerätetyp",
    "commissioned": "Inbetriebnahme, in Betrieb seit, Inbetriebnahme am, Einbau, Einbaudatum, eingebaut am, "
    "aufgestellt am, installiert am",
    "weekly use": "Wochenbedarf, Verbrauch pro Woche, Wochenverbrauch, Bedarf, Verbrauch, "
    "Wasserverbrauch, Wasserbedarf",
    "weekly use [L]": "Liter pro Woche, Liter je Woche",
    "rated flow": "Leistung, Nennleistung, Membranleistung",
    "tds target": "Grenzwert, Zielwert, Sollwert",
    "booster pump": "Druckerhöhungspumpe, Druckerhöhung, Pumpe, Boosterpumpe",
    "storage tank": "Vorratstank, Drucktank, Behälter",
    "flow restrictor": "Durchflussbegrenzer, Drossel",
    "recovery": "Ausbeute",
    # what is bought
    "item": "Artikel, Artikelnummer, Artikelnr, Artikel Nr, Art Nr, Artikelcode, Teil, Ersatzteil",
    "description": "Bezeichnung, Artikelbezeichnung, Beschreibung",
    "type": "Art, Typ, Kategorie, Warengruppe",
    "size": "Größe, Baugröße",
    "supplier": "Lieferant, Lieferfirma, Händler, Hersteller, Bezugsquelle",
    "order number": "Bestellnummer, Bestellnr, Bestell Nr, Lieferantennummer, Artikelnummer Lieferant",
    "price": "Preis, Einkaufspreis, EK, EK Preis, Stückpreis, Preis pro Stück",
    "pack size": "VE, VPE, Verpackungseinheit, Packungsgröße, Stück pro Packung, Stück je VE",
    "lead time": "Lieferzeit, Lieferfrist, Lieferzeit in Tagen",
    "customer number": "unsere Kundennummer, Kundennummer beim Lieferanten",
    "minimum order": "Mindestbestellwert",
    "on hand": "Bestand, Lagerbestand, Anzahl, Menge, Stückzahl, vorrätig",
    "shelf": "Regal, Fach, Lagerplatz, Lagerort",
    "lot": "Charge, Los",
    "micron": "Feinheit, Filterfeinheit, Porengröße",
    "maximum service time": "Standzeit, maximale Standzeit, Höchststandzeit",
    # what clients are asked for
    "net price": "Nettopreis, Verkaufspreis, VK, VK Preis, VK netto",
    "vat": "Steuersatz, Mehrwertsteuer, MwSt, USt, Umsatzsteuer",
    "percent": "Prozent, Satz, Steuer in Prozent",
    "valid from": "gültig ab, gilt ab, ab",
    "starts": "Beginn, Vertragsbeginn, von",
    "ends": "Ende, Vertragsende, bis, gültig bis, Garantie bis",
    "contract": "Vertrag, Wartungsvertrag, Vertragsart",
    # changes
    "filter": "Filterart, Filterstufe, Kartusche, Patrone, Filterpatrone, Stufe, Was",
    "reason": "Grund, Wechselgrund, Ursache, Warum, Anlass",
    "changed on": "gewechselt am, getauscht am, Wechsel, Wechsel am, Wechseldatum, Filter gewechselt am, "
    "Filterwechsel, Filterwechsel am, ausgetauscht am",
    "fitted on": "eingesetzt am",
    "removed on": "ausgebaut am, entnommen am, Ausbau, Ausbaudatum",
    # readings and water
    "date": "Datum, Tag, am, Messdatum, abgelesen am, gemessen am",
    "time": "Uhrzeit, Zeit, Uhr",
    "read by": "Monteur, Techniker, Wer, Messender, abgelesen von, gemessen von, Mitarbeiter, Installateur",
    "totaliser": "Zähler, Zählerstand, Wasserzähler",
    "line pressure": "Leitungsdruck, Netzdruck, Wasserdruck, Vordruck, Druck Leitung, Druck Netz, Druck vor Filter, "
    "Druck vor Filtern, Druck vor Vorfilter, Druck vor Vorfiltern",
    "prefilter outlet pressure": "Druck nach Vorfilter, Druck nach Vorfiltern, Druck hinter Vorfilter, "
    "Druck nach Filter, Druck nach Filtern, Druck hinter Filter",
    "inlet pressure": "Membrandruck, Druck vor Membran, Druck Membran",
    "tank pressure": "Tankdruck, Druck Tank",
    "permeate flow": "Permeatleistung, Durchfluss Permeat, Permeatfluss, Permeatmenge",
    "concentrate flow": "Durchfluss Konzentrat, Konzentratfluss, Abwassermenge",
    "flow": "Durchfluss, Durchflussmenge",
    "pressure": "Druck, Betriebsdruck, Eingangsdruck",
    "temperature": "Temp, Temperatur, Wassertemperatur",
    "hardness": "Härte, Gesamthärte, Wasserhärte",
    "alkalinity": "Karbonathärte, Alkalität, Säurekapazität",
    "conductivity": "Leitwert, Leitfähigkeit, LF, elektrische Leitfähigkeit",
    "ph": "pH-Wert, PH Wert",
    "chlorine": "Chlor",
    "free chlorine": "freies Chlor, Chlor frei",
    "total chlorine": "Gesamtchlor, Chlor gesamt",
    "silica": "Kieselsäure, Silikat",
    "iron": "Eisen",
    "manganese": "Mangan",
    "method": "Messart, Verfahren",
    # installers
    "van": "Fahrzeug, Auto, Bus, Wagen",
    "working days": "Arbeitstage",
}  # fmt: skip
"""English header -> German ones, separated by commas."""

_QUANTITIES: Final[Mapping[str, str]] = {
    "conductivity": "leitwert, leitfaehigkeit, lf, leitwerte",
    "tds": "tds",
}
_STREAMS: Final[Mapping[str, str]] = {
    "feed": "zulauf, rohwasser, eingang, leitungswasser, speisewasser, leitung, vor_anlage, vor_membran, roh",
    "permeate": "permeat, nach_membran, hinter_membran, membran",
    "product": "reinwasser, produkt, produktwasser, ausgang, nach_harz, hinter_harz, harz, vollentsalzt, ve_wasser",
    "concentrate": "konzentrat, abwasser",
}
_STAGES: Final[Mapping[str, str]] = {
    "sediment": "sediment, sedimentfilter, vorfilter, feinfilter, filter",
    "carbon": "kohle, aktivkohle, kohlefilter, aktivkohlefilter, kohleblock",
    "membrane": "membran, membrane, ro_membran, umkehrosmosemembran",
    "resin": "harz, mischbettharz, mischbett, harzkartusche, harzpatrone, vollentsalzer",
    "post carbon": "nachfilter, geschmacksfilter, nachkohle, kohlenachfilter",
    "remineralisation": "mineralfilter, remineralisierung, aufhaertung, aufhaertungsfilter",
    "uv": "uv_lampe, uv_strahler, uv_entkeimung",
}
_CHANGES: Final = (
    "{0}_gewechselt_am", "{0}_gewechselt", "{0}_getauscht_am", "{0}_getauscht", "{0}_zuletzt_gewechselt", "{0}_neu",
    "{0}_neu_am", "{0}_wechsel", "{0}wechsel", "{0}wechsel_am", "letzter_{0}wechsel", "letzter_wechsel_{0}",
    "wechsel_{0}", "{0}_wechsel_am", "{0}_vom", "{0}_datum", "{0}_zuletzt",
)  # fmt: skip
_ONE_OF_MANY: Final = "filter"
"""A word that names the sediment filter in such a column of a sheet with others only; alone it is any cartridge."""

_UNITS: Final[Mapping[str, str]] = {
    "l/tag": "L/day", "l/t": "L/day", "liter/tag": "L/day", "l/woche": "L/week", "liter/woche": "L/week",
    "l pro tag": "L/day", "l pro woche": "L/week", "l/h": "L/h", "liter/h": "L/h", "l/std": "L/h", "l/min": "L/min",
    "liter": "L", "l": "L", "tage": "", "in tagen": "", "tagen": "", "stück": "", "stk": "", "stk.": "", "€": "",
    "eur": "", "euro": "", "mg/l": "mg/L", "mikrometer": "um", "grad": "degC",
}  # fmt: skip
"""Unit as written, in small letters -> as the fleet knows it; empty: it tells nothing that the header does not."""

_IN_BRACKETS: Final = re.compile(r"^(?P<name>[^\[\]()]+?)\s*[\[(]\s*(?P<unit>[^\[\]()]+?)\s*[\])]$")
_BEHIND: Final = re.compile(
    r"^(?P<name>.+?)[\s,]+(?:in\s+)?(?P<unit>[µμu]S/cm|°\s?dH|dH|°\s?C|°\s?F|%|€|EUR|Euro|bar|mbar|psi|kPa|ppm|"
    r"mg/l|l/h|l/min|ml/min|l/(?:tag|t|d|std|woche)|l pro (?:tag|woche)|liter/(?:tag|woche|h)|liter|l|[µμ]m|mikrometer|"
    r"in tagen|tagen?|stück|stk\.?)$",
    re.IGNORECASE,
)


def _pairs() -> Iterator[tuple[str, str]]:
    for english, written in _HEADERS.items():
        yield from ((tidy(german), english) for german in written.split(", "))
    for quantity, quantities in _QUANTITIES.items():
        for stream, streams in _STREAMS.items():
            for what in quantities.split(", "):
                for where in streams.split(", "):
                    for form in ("{0}_{1}", "{1}_{0}", "{1}{0}", "{1}s{0}"):
                        yield form.format(what, where), f"{stream} {quantity}"
    for stage, names in _STAGES.items():
        for name in names.split(", "):
            if name != _ONE_OF_MANY:
                yield name, stage
                yield from ((form.format(name), f"{stage} changed") for form in _CHANGES)


_ENGLISH: Final[Mapping[str, str]] = dict(reversed([*_pairs()]))

_SHEETS: Final[Mapping[str, str]] = {
    "suppliers": "lieferanten, lieferantenliste",
    "catalogue": "artikel, artikelliste, ersatzteile, ersatzteilliste, teile",
    "clients": "kunden, kundenliste, kundenstamm",
    "sites": "standorte, aufstellorte",
    "units": "anlagen, anlagenliste, geraete, geraeteliste",
    "installers": "monteure, techniker, installateure",
    "stock": "lager, bestand, lagerbestand, inventur",
    "placements": "wechsel, filterwechsel, wechselliste, filterwechsel_liste",
    "readings": "messwerte, messungen, ablesungen, werte",
    "sales_prices": "verkaufspreise, preise, preisliste",
    "service_contracts": "vertraege, wartungsvertraege",
    "warranties": "garantien, gewaehrleistung",
    "vat_rates": "steuersaetze",
    "feed_water": "wasser, wasserwerte, wasseranalysen, leitungswasser",
}


def sheet_in_english(name: str) -> str:
    """The English name of a sheet of a company; itself, tidied, where it is not one of the German ones.

    >>> sheet_in_english("Anlagen"), sheet_in_english("Units")
    ('units', 'units')
    """
    written = tidy(name)
    return next((english for english, names in _SHEETS.items() if written in names.split(", ")), written)


_BY_UNIT: Final[Mapping[str, str]] = {
    **dict.fromkeys(("l/h", "l/min", "ml/min", "l/tag", "l/t", "l/d", "gpd"), "flow"),
    **dict.fromkeys(("µs/cm", "μs/cm", "us/cm"), "conductivity"),
    **dict.fromkeys(("ppm", "mg/l"), "tds"),
}
"""Unit in small letters -> what is measured in it of a stream."""


def _of_stream(name: str, unit: str) -> str | None:
    """The English header of a column that names a stream alone: its unit says what was measured."""
    stream = next((english for english, names in _STREAMS.items() if name in names.split(", ")), None)
    quantity = _BY_UNIT.get(unit.lower())
    return f"{stream} {quantity}" if stream and quantity and (quantity != "flow" or stream in _FLOWS) else None


_FLOWS: Final = frozenset(("permeate", "concentrate"))
"""Streams whose flow has a column."""


def in_english(header: str) -> str:
    """The English header that means the same, with its unit in brackets; the header itself where it is not German.

    >>> in_english("Leitwert Zulauf µS/cm"), in_english("Vorfilter gewechselt am"), in_english("Härte [°dH]")
    ('feed conductivity [µS/cm]', 'sediment changed', 'hardness [°dH]')
    >>> in_english("Permeat [l/h]"), in_english("Permeat µS/cm")
    ('permeate flow [L/h]', 'permeate conductivity [µS/cm]')
    >>> in_english("Lieferzeit Tage"), in_english("feed TDS [ppm]"), in_english("Straße")
    ('lead time', 'feed TDS [ppm]', 'address')
    """
    match = _IN_BRACKETS.match(header.strip()) or _BEHIND.match(header.strip())
    for name, unit in ((header, ""), *(((match["name"], match["unit"]),) if match else ())):
        english = _ENGLISH.get(tidy(name))
        if english is None and unit:
            english = _of_stream(tidy(name), unit)
        if english is not None:
            unit = _UNITS.get(" ".join(unit.lower().split()), unit.replace("° ", "°"))
            return f"{english} [{unit}]" if unit else english
    return header
