"""What the company has: sites, appliances, technicians, gauges, parts; and the weather at its sites."""

from __future__ import annotations

from pipelines.contract import codes
from pipelines.contract.common_fields import CURRENCY, HOUSING_LIMIT_PA, PRESSURE_UNIT, identifier, money, pressure
from pipelines.contract.fields import Field, Table

SITES = Table(
    "sites",
    "one site the company serves",
    ("site_id",),
    (
        identifier("site_id", "the site", is_required=True),
        Field("region", "text", "region with its own weather"),
        Field("elevation_m", "number", "height above sea level", unit="m", minimum=-450, maximum=6000),
        identifier("weather_station_id", "weather station that speaks for the site"),
    ),
    site_from="site_id",
)

APPLIANCES = Table(
    "appliances",
    "one gas appliance on a site",
    ("appliance_id",),
    (
        identifier("appliance_id", "the appliance", is_required=True),
        identifier("site_id", "the site it stands on", is_required=True, references="sites.site_id"),
        Field("appliance_kind", "code", "kind of appliance", code_list=codes.APPLIANCE_KIND),
        Field("is_condensing", "flag", "whether it condenses its flue gas"),
        Field("installed_on", "date", "day it was installed", earliest_year=1900),
        Field("removed_on", "date", "day it was taken out"),
        Field("model_code", "text", "model as the company writes it"),
        Field("serial_number", "text", "serial number from the plate"),
        pressure("rated_make_pressure", "draft at which the switch must make, from the plate or parts list"),
        pressure("rated_break_pressure", "draft at which the switch must break"),
        pressure("make_tolerance", "allowed deviation of the make point"),
        PRESSURE_UNIT,
    ),
    site_from="site_id",
)

TECHNICIANS = Table(
    "technicians",
    "one technician",
    ("technician_id",),
    (
        identifier("technician_id", "the technician", is_required=True),
        Field("technician_name", "text", "name as shown to those allowed to see it"),
        Field("branch", "text", "branch the technician works from"),
        Field("started_on", "date", "first day with the company", earliest_year=1900),
        Field("left_on", "date", "last day with the company"),
    ),
)

GAUGES = Table(
    "gauges",
    "one gauge",
    ("gauge_id",),
    (
        identifier("gauge_id", "the gauge", is_required=True),
        pressure("full_scale", "end of its scale", "unit", HOUSING_LIMIT_PA),
        pressure("resolution", "smallest step it shows", "unit"),
        Field("unit", "unit", "unit of full scale and resolution"),
        Field(
            "accuracy_percent_full_scale",
            "number",
            "accuracy as percent of full scale",
            unit="%",
            minimum=0,
            maximum=100,
        ),
        Field(
            "accuracy_percent_reading",
            "number",
            "accuracy as percent of reading",
            unit="%",
            minimum=0,
            maximum=100,
        ),
        Field("calibrated_on", "date", "day of its last calibration"),
    ),
)

PARTS = Table(
    "parts",
    "one part number",
    ("part_number",),
    (
        identifier("part_number", "the part number", is_required=True),
        Field("part_class", "code", "kind of part", code_list=codes.PART_CLASS),
        pressure("rated_make_pressure", "draft at which the switch must make"),
        pressure("rated_break_pressure", "draft at which the switch must break"),
        pressure("make_tolerance", "allowed deviation of the make point"),
        pressure("maximum_pressure", "most pressure the switch stands", maximum=HOUSING_LIMIT_PA),
        PRESSURE_UNIT,
        Field("has_intentional_bleed", "flag", "whether the switch bleeds by design"),
        Field("is_adjustable", "flag", "whether its make point can be set"),
        identifier("superseded_by", "the part number that replaces it", references="parts.part_number"),
        money("unit_cost", "cost of one"),
        CURRENCY,
    ),
)

WEATHER_DAYS = Table(
    "weather_days",
    "one day at one weather station",
    ("weather_station_id", "day_on"),
    (
        identifier("weather_station_id", "the station", is_required=True),
        Field("day_on", "date", "the day", is_required=True),
        Field("min_temperature_c", "number", "lowest temperature", unit="Cel", minimum=-90, maximum=60),
        Field("max_temperature_c", "number", "highest temperature", unit="Cel", minimum=-90, maximum=60),
        Field("precipitation_mm", "number", "precipitation", unit="mm", minimum=0, maximum=2_000),
        Field("snowfall_mm", "number", "new snow", unit="mm", minimum=0, maximum=5_000),
        Field("max_gust_m_s", "number", "strongest gust", unit="m/s", minimum=0, maximum=120),
    ),
)
