"""The company's settings: thresholds and rates, each shown where it is used."""

from __future__ import annotations

import tomllib
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import duckdb

from pipelines.contract.units import PASCAL_PER_UNIT
from pipelines.errors import GoodpullError

SETTINGS_FILE = "settings.toml"


class SettingsError(GoodpullError):
    """A setting is unknown or has a value that is not allowed."""


# Shares and probabilities, which must lie in [0, 1].
_SHARES = (
    "bench_good_probability",
    "bench_faulty_probability",
    "assumed_tolerance_share",
    "assumed_accuracy_share",
    "flag_margin",
    "false_discovery_limit",
)


@dataclass(frozen=True)
class Settings:
    """Every setting with its default. Pressures in pascal, money in `currency`, times in the unit of the name.

    time_zone: for times delivered without an offset, and for days and weeks. default_pressure_unit: UCUM code for
    numbers without a unit; None = such a pressure stays unknown. heating_base_c: 65 degF. service_gap_days: an
    appliance counts as served until this long after its last visit. None for a rate = not told, nothing is assumed.
    """

    time_zone: str = "UTC"
    currency: str = "USD"
    default_pressure_unit: str | None = None
    heating_base_c: float = (65 - 32) / 1.8
    bench_good_probability: float = 0.95
    bench_faulty_probability: float = 0.05
    maximum_contact_ohms: float = 5.0
    maximum_days_to_bench: int = 14
    assumed_tolerance_share: float = 0.10
    assumed_accuracy_share: float = 0.02
    assumed_resolution_pa: float = 2.5
    assumed_repeatability_pa: float = 2.5
    guard_factor: float = 1.645
    headline_window_days: int = 30
    season_starts_month: int = 7
    service_gap_days: int = 730
    flag_margin: float = 0.08
    false_discovery_limit: float = 0.10
    minimum_cases: int = 5
    labour_cost_per_hour: float | None = None
    trip_cost: float | None = None
    swap_labour_minutes: float = 30.0
    random_seed: int = 20260101

    @classmethod
    def load(cls, home: Path) -> Settings:
        """Settings of a home: its settings.toml over the defaults. Raises SettingsError in words."""
        path = Path(home) / SETTINGS_FILE
        if not path.exists():
            return cls()
        try:
            given = tomllib.loads(path.read_text("utf-8-sig"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise SettingsError(f"{path}: is not valid TOML ({error}). Mend the line, or remove the file.") from error
        return cls(**{name: _checked(path, name, value) for name, value in given.items()})


def write_setting_table(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Write the one-row table `setting`, from which the SQL of the facts reads."""
    values = asdict(settings)
    types = {entry.name: _sql_type(entry.type) for entry in fields(Settings)}
    columns = ", ".join(f"{name} {types[name]}" for name in values)
    con.execute(f"CREATE OR REPLACE TABLE setting ({columns})")
    con.execute(f"INSERT INTO setting VALUES ({', '.join('?' * len(values))})", list(values.values()))


def is_setting_table_current(con: duckdb.DuckDBPyConnection, settings: Settings) -> bool:
    """Whether the store was built with these settings."""
    try:
        cursor = con.execute("SELECT * FROM setting")
    except duckdb.CatalogException:
        return False
    names = [column[0] for column in cursor.description or ()]
    row = cursor.fetchone()
    return row is not None and dict(zip(names, row, strict=True)) == asdict(settings)


def _sql_type(annotation: object) -> str:
    text = str(annotation)
    return "VARCHAR" if "str" in text else "DOUBLE" if "float" in text else "BIGINT"


def _checked(path: Path, name: str, value: object) -> object:
    known = {entry.name: str(entry.type) for entry in fields(Settings)}
    if name not in known:
        raise SettingsError(f"{path}: {name} is no setting. Allowed: {', '.join(known)}.")
    wanted = known[name]
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if "str" in wanted and not isinstance(value, str):
        raise SettingsError(f"{path}: {name} is {value!r}; must be text in quotes.")
    if "str" not in wanted and not is_number:
        raise SettingsError(f"{path}: {name} is {value!r}; must be a number.")
    if "int" in wanted and not isinstance(value, int):
        raise SettingsError(f"{path}: {name} is {value!r}; must be a whole number.")
    if is_number and not 0 <= float(value) < 1e9:  # type: ignore[arg-type]
        raise SettingsError(f"{path}: {name} is {value!r}; must lie between 0 and 1e9.")
    if name in _SHARES and not float(value) <= 1:  # type: ignore[arg-type]
        raise SettingsError(f"{path}: {name} is {value!r}; must lie between 0 and 1.")
    if name == "season_starts_month" and value not in range(1, 13):
        raise SettingsError(f"{path}: {name} is {value!r}; must be a month, 1 to 12.")
    if name == "default_pressure_unit" and value not in PASCAL_PER_UNIT:
        raise SettingsError(f"{path}: {name} is {value!r}; must be one of {', '.join(PASCAL_PER_UNIT)}.")
    if name == "time_zone":
        try:
            ZoneInfo(str(value))
        except (ZoneInfoNotFoundError, ValueError) as error:
            raise SettingsError(f"{path}: {name} is {value!r}; must be a zone such as America/Chicago.") from error
    return float(value) if "float" in wanted else value  # type: ignore[arg-type]
