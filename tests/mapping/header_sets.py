"""Sheets of invented companies: header words of the trade in four languages, with values; and what each column is.

TUNED are those the proposals were made better with. HELD_OUT were written down before that and never looked at since.
A column: header, kind of its values, and the column of the contract it is (None: none that is read).
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta

from pipelines.mapping.samples import Sample

Columns = list[tuple[str, str, str | None]]

HELD_OUT: dict[str, Columns] = {
    "en: dispatch log": [
        ("#", "row", None), ("Dispatch No.", "visit", "visit_id"), ("Premise No.", "site", "site_id"),
        ("Boiler serial", "serial", None), ("Service tech", "tech", "technician_id"), ("Arrived on site", "time", "arrived_at"),
        ("Left site", "time2", "left_at"), ("Type of call", "kind", "visit_kind"), ("Tech remarks", "prose", "notes"),
        ("Part no.", "part", "part_number"), ("Part description", "name", "description"), ("Qty used", "count", "quantity"),
        ("Sell price", "money", "price"),
    ],
    "en: work orders": [
        ("Row", "row", None), ("Work order number", "visit", "visit_id"), ("Building ID", "site", "site_id"),
        ("Furnace ID", "unit", "appliance_id"), ("Serial number", "serial", None), ("Mechanic", "tech", "technician_id"),
        ("Date and time of arrival", "time", "arrived_at"), ("Work order type", "kind", "visit_kind"),
        ("Work done", "prose", "notes"), ("Material number", "part", "part_number"), ("Quantity", "count", "quantity"),
    ],
    "en: job cards": [
        ("Job card", "visit", "visit_id"), ("Address ID", "site", "site_id"), ("Fitter", "tech", "technician_id"),
        ("Attended", "time", "arrived_at"), ("Job category", "kind", "visit_kind"), ("Engineer comments", "prose", "notes"),
        ("Stock code", "part", "part_number"), ("No. fitted", "count", "quantity"), ("Appliance serial no.", "serial", None),
    ],
    "de: Einsätze": [
        ("Lfd. Nr.", "row", None), ("Einsatz-Nr.", "visit", "visit_id"), ("Objekt-Nr.", "site", "site_id"),
        ("Geräte-Seriennr.", "serial", None), ("Monteur-Nr.", "tech", "technician_id"), ("Ankunftszeit", "time", "arrived_at"),
        ("Abfahrtszeit", "time2", "left_at"), ("Art des Einsatzes", "kind", "visit_kind"), ("Monteurbericht", "prose", "notes"),
        ("Artikel-Nr.", "part", "part_number"), ("Artikelbezeichnung", "name", "description"), ("Stückzahl", "count", "quantity"),
        ("Einzelpreis", "money", "price"),
    ],
    "de: Kundendienst": [
        ("Zeile", "row", None), ("Kundendienstauftrag", "visit", "visit_id"), ("Anlagenstandort", "site", "site_id"),
        ("Fabriknummer", "serial", None), ("Kundendiensttechniker", "tech", "technician_id"),
        ("Beginn der Arbeit", "time", "arrived_at"), ("Ende der Arbeit", "time2", "left_at"),
        ("Tätigkeitsbericht", "prose", "notes"), ("Ersatzteilnummer", "part", "part_number"), ("Menge", "count", "quantity"),
    ],
    "fr: interventions": [
        ("N° ligne", "row", None), ("N° d'intervention", "visit", "visit_id"), ("Code site", "site", "site_id"),
        ("N° de série", "serial", None), ("Technicien", "tech", "technician_id"), ("Heure d'arrivée", "time", "arrived_at"),
        ("Heure de départ", "time2", "left_at"), ("Type d'intervention", "kind", "visit_kind"),
        ("Compte rendu", "prose", "notes"), ("Référence pièce", "part", "part_number"), ("Désignation", "name", "description"),
        ("Quantité", "count", "quantity"), ("Prix unitaire HT", "money", "price"),
    ],
    "fr: bons": [
        ("Bon de travail", "visit", "visit_id"), ("Immeuble", "site", "site_id"), ("Chaudière", "unit", "appliance_id"),
        ("Numéro de série", "serial", None), ("Dépanneur", "tech", "technician_id"), ("Date d'intervention", "time", "arrived_at"),
        ("Motif", "kind", "visit_kind"), ("Observations", "prose", "notes"), ("Code article", "part", "part_number"),
        ("Qté", "count", "quantity"),
    ],
    "es: avisos": [
        ("Nº fila", "row", None), ("Nº de aviso", "visit", "visit_id"), ("Código de instalación", "site", "site_id"),
        ("Número de serie", "serial", None), ("Técnico", "tech", "technician_id"), ("Hora de llegada", "time", "arrived_at"),
        ("Hora de salida", "time2", "left_at"), ("Tipo de aviso", "kind", "visit_kind"), ("Observaciones", "prose", "notes"),
        ("Referencia", "part", "part_number"), ("Descripción", "name", "description"), ("Cantidad", "count", "quantity"),
        ("Precio", "money", "price"),
    ],
    "es: partes": [
        ("Parte de trabajo", "visit", "visit_id"), ("Inmueble", "site", "site_id"), ("Caldera", "unit", "appliance_id"),
        ("Nº serie", "serial", None), ("Operario", "tech", "technician_id"), ("Fecha de visita", "time", "arrived_at"),
        ("Clase de trabajo", "kind", "visit_kind"), ("Trabajo realizado", "prose", "notes"),
        ("Código de artículo", "part", "part_number"), ("Unidades", "count", "quantity"),
    ],
}  # fmt: skip

TUNED: dict[str, Columns] = {
    "en: jobs": [
        ("No", "row", None), ("Job No", "visit", "visit_id"), ("Site", "site", "site_id"), ("Unit serial", "serial", None),
        ("Tech", "tech", "technician_id"), ("Time in", "time", "arrived_at"), ("Time out", "time2", "left_at"),
        ("Job type", "kind", "visit_kind"), ("Notes", "prose", "notes"), ("Part", "part", "part_number"),
        ("Qty", "count", "quantity"), ("Price", "money", "price"),
    ],
    "en: tickets": [
        ("Line", "row", None), ("Ticket #", "visit", "visit_id"), ("Account no", "site", "site_id"),
        ("Unit ID", "unit", "appliance_id"), ("Lead tech", "tech", "technician_id"), ("Arrival", "time", "arrived_at"),
        ("Call type", "kind", "visit_kind"), ("Work performed", "prose", "notes"), ("SKU", "part", "part_number"),
        ("Item description", "name", "description"), ("Count", "count", "quantity"),
    ],
    "de: Aufträge": [
        ("Nr", "row", None), ("Auftragsnummer", "visit", "visit_id"), ("Liegenschaft", "site", "site_id"),
        ("Seriennummer", "serial", None), ("Techniker", "tech", "technician_id"), ("Ankunft", "time", "arrived_at"),
        ("Auftragsart", "kind", "visit_kind"), ("Bemerkung", "prose", "notes"), ("Teilenummer", "part", "part_number"),
        ("Anzahl", "count", "quantity"), ("Preis", "money", "price"),
    ],
    "fr: visites": [
        ("Ligne", "row", None), ("N° visite", "visit", "visit_id"), ("Site", "site", "site_id"),
        ("Appareil", "unit", "appliance_id"), ("Intervenant", "tech", "technician_id"), ("Arrivée", "time", "arrived_at"),
        ("Départ", "time2", "left_at"), ("Type de visite", "kind", "visit_kind"), ("Commentaire", "prose", "notes"),
        ("Pièce", "part", "part_number"), ("Nombre", "count", "quantity"),
    ],
    "es: visitas": [
        ("Fila", "row", None), ("Visita", "visit", "visit_id"), ("Finca", "site", "site_id"),
        ("Equipo", "unit", "appliance_id"), ("Mecánico", "tech", "technician_id"), ("Llegada", "time", "arrived_at"),
        ("Salida", "time2", "left_at"), ("Tipo de visita", "kind", "visit_kind"), ("Notas", "prose", "notes"),
        ("Pieza", "part", "part_number"), ("Cantidad", "count", "quantity"), ("Importe", "money", "price"),
    ],
}  # fmt: skip


def sample_of(name: str, columns: Columns, n_visits: int = 60) -> Sample:
    """A wide sheet of visits and their part lines in file order: about every second visit has one line or two."""
    dice = random.Random(name)
    rows: list[tuple] = []
    for visit in range(n_visits):
        arrived = datetime(2025, 1, 6, 8) + timedelta(hours=5 * visit + dice.randrange(3))
        fixed = {
            "visit": str(40210 + 3 * visit + dice.randrange(3)),
            "site": f"{700 + dice.randrange(25)}",
            "unit": f"G{dice.randrange(40):03}",
            "serial": f"{dice.randrange(10**9, 10**10)}",
            "tech": f"M{dice.randrange(6):02}",
            "time": arrived.strftime("%Y-%m-%d %H:%M"),
            "time2": (arrived + timedelta(minutes=75)).strftime("%Y-%m-%d %H:%M"),
            "kind": dice.choice(("A1", "B2", "C3")),
            "prose": f"trap cleaned, hose dry, tried {visit} times" if visit % 3 else "",
        }
        for line in range(max(1, dice.randrange(3))):
            has_part = dice.random() < 0.6 or line
            part = dice.randrange(12)
            cells = fixed | {
                "row": str(len(rows) + 1),
                "part": f"P-{part:04}" if has_part else "",
                "name": ("pressure switch", "hose", "trap", "gasket")[part % 4] if has_part else "",
                "count": str(1 + dice.randrange(2)) if has_part else "",
                "money": f"{dice.randrange(500, 9000) / 100:.2f}" if has_part else "",
            }
            rows.append(tuple(cells[kind] or None for _, kind, _ in columns))
    return Sample("sheet.csv", None, [header for header, _, _ in columns], rows)
