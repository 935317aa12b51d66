"""The data contract: every table and column of the visit records, declared once.

Table definitions, acceptance checks, the reference page, the templates, the data package, the generator's
categories and the tests are all derived from TABLES.
"""

from __future__ import annotations

from pipelines.contract.after_tables import BENCH_TESTS, COACHING_SESSIONS, WARRANTY_CLAIMS
from pipelines.contract.company_tables import APPLIANCES, GAUGES, PARTS, SITES, TECHNICIANS, WEATHER_DAYS
from pipelines.contract.fields import Table
from pipelines.contract.visit_tables import CHECKS, CORRECTIONS, PART_LINES, READINGS, VISIT_CREW, VISITS

TABLES: tuple[Table, ...] = (
    SITES,
    APPLIANCES,
    TECHNICIANS,
    VISITS,
    VISIT_CREW,
    CHECKS,
    READINGS,
    GAUGES,
    PARTS,
    PART_LINES,
    BENCH_TESTS,
    WARRANTY_CLAIMS,
    COACHING_SESSIONS,
    WEATHER_DAYS,
    CORRECTIONS,
)

TABLE_BY_NAME = {table.name: table for table in TABLES}

# Words in a column name that mark a customer's personal data; such columns are dropped on load and named.
PERSONAL_WORDS = (
    "customer",
    "client",
    "tenant",
    "owner_name",
    "homeowner",
    "occupant",
    "contact_name",
    "first_name",
    "last_name",
    "full_name",
    "surname",
    "street",
    "address",
    "postcode",
    "postal",
    "zip",
    "phone",
    "mobile",
    "telephone",
    "email",
    "e_mail",
    "telefon",
    "anschrift",
    "adresse",
    "direccion",
    "strasse",
    "hausnummer",
    "vorname",
    "nachname",
    "kundenname",
    "apellido",
    "courriel",
    "correo",
)
# The same of short words, which mark it only where they stand by themselves.
PERSONAL_WHOLE_WORDS = (
    "cust",
    "custname",
    "caller",
    "resident",
    "kunde",
    "tel",
    "handy",
    "plz",
    "rue",
    "calle",
    "locataire",
    "mieter",
)
