"""What a company may set: read from settings.toml in its home, checked, and written into every store.

Every threshold that a figure rests on is here, with the value used when nothing is set. The build writes them as the
one-row table `setting`, so that the SQL reads them by a cross join and a page can show what was used.
"""

from __future__ import annotations

import types
import typing
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pipelines import exchange_rates, settings_file
from pipelines.contract.units import PASCAL_PER_UNIT, unit_code
from pipelines.settings_file import SettingsError
from pipelines.settings_file import not_allowed as _told


def _set(default: Any, unit: str, meaning: str) -> Any:
    """A setting: what is used when nothing is set, its unit (blank = none) and its meaning, for people."""
    return field(default=default, metadata={"unit": unit, "meaning": meaning})


@dataclass(frozen=True)
class Settings:
    """All settings. Shares and probabilities lie in [0, 1], pressures are in pascal, times in days or minutes.

    Each field's metadata holds its `unit` and its `meaning`, as the pages show them.

    Raises SettingsError when a value is not allowed.
    """

    time_zone: str = _set("UTC", "", "Time zone of the company; days and weeks are counted in it")
    currency: str = _set("USD", "", "Currency of all amounts; prices in another one are left out")
    default_pressure_unit: str | None = _set(
        None, "", "Unit of a pressure reading that names none, and the unit drafts are shown in"
    )
    # 65 degrees Fahrenheit.
    heating_base_c: float = _set(18.333333, "°C", "Mean temperature of a day below which it is a heating day")
    bench_good_probability: float = _set(0.95, "share", "A switch is good from this probability of conforming on")
    bench_faulty_probability: float = _set(0.05, "share", "A switch is faulty up to this probability of conforming")
    maximum_contact_ohms: float = _set(5.0, "Ω", "Closed contacts above this resistance are a fault")
    maximum_days_to_bench: int = _set(14, "days", "A switch tested later than this after removal is never called good")
    assumed_tolerance_share: float = _set(
        0.10, "share", "Tolerance of the rated make point where none is on record, named where it is used"
    )
    assumed_accuracy_share: float = _set(0.02, "share", "Accuracy of a gauge that is not on record, of its reading")
    assumed_resolution_pa: float = _set(2.5, "Pa", "Smallest step of a gauge that is not on record")
    assumed_repeatability_share: float = _set(
        0.02, "share", "Repeatability of a bench test with one make reading, of that reading"
    )
    guard_factor: float = _set(
        1.645, "standard uncertainties", "Distance from the make point before a field reading decides"
    )
    callback_windows: tuple[int, ...] = _set(
        (7, 14, 30, 60, 90), "days", "Days after completion at which callbacks are counted"
    )
    headline_window: int = _set(30, "days", "The one of these windows that the pages show first")
    season_starts_month: int = _set(7, "month of the year", "Month in which a heating season starts")
    # An appliance counts as served from its first visit until this long after its last one, or its removal.
    service_gap_days: int = _set(730, "days", "An appliance counts as served until this long after its last visit")
    flag_margin: float = _set(0.08, "points", "Excess over the expected rate that is looked at for a technician")
    false_discovery_limit: float = _set(
        0.10,
        "share",
        "Most false marks allowed among all; one mark may be false by twice this chance, at most by one half",
    )
    minimum_cases: int = _set(5, "cases", "Draft faults below which nobody is compared")
    labour_cost_per_hour: float | None = _set(
        None, "currency", "Cost of an hour on site; without it labour is left out"
    )
    trip_cost: float | None = _set(None, "currency", "Cost of a trip; without it trips are left out")
    swap_labour_minutes: float = _set(30.0, "minutes", "Time to fit a switch, beyond the diagnosis needed anyway")
    bench_test_minutes: float = _set(
        15.0, "minutes", "Time one bench test takes, assumed; what testing costs rests on it"
    )
    random_seed: int = _set(20260101, "", "Start of the random numbers: the same start, the same figures")

    def __post_init__(self) -> None:
        for name, (low, high) in _LIMITS.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise SettingsError(_told(name, value, f"a number from {low:g} to {high:g}"))
        _check_words(self)
        if self.bench_faulty_probability >= self.bench_good_probability:
            raise SettingsError(
                _told(
                    "bench_faulty_probability",
                    self.bench_faulty_probability,
                    f"less than bench_good_probability ({self.bench_good_probability:g})",
                )
            )

    @classmethod
    def load(cls, home: Path) -> Settings:
        """Settings of a home: its settings.toml, or the values used when nothing is set.

        Raises SettingsError naming the file, the setting, the value and what is allowed.
        """
        given = settings_file.read(home)
        # Who may see what stands in the same file, and at which rates a reader sees amounts in another currency. Neither is
        # a setting of a figure, and neither is written into stores.
        others = {name: given.pop(name) for name in ("people", *exchange_rates.NAMES) if name in given}
        try:
            settings = cls(**_typed(given))
            exchange_rates.checked(others, settings.currency)
        except SettingsError as error:
            raise SettingsError(f"{Path(home) / settings_file.FILE_NAME}: {error}") from error
        return settings


_SHARE = (0.0, 1.0)
_LIMITS: dict[str, tuple[float, float]] = {
    "heating_base_c": (0, 30),
    "bench_good_probability": (0.5, 1),
    "bench_faulty_probability": (0, 0.5),
    "maximum_contact_ohms": (0, 1000),
    "maximum_days_to_bench": (0, 3650),
    "assumed_tolerance_share": (0.001, 1),
    "assumed_accuracy_share": _SHARE,
    "assumed_resolution_pa": (0, 1000),
    "assumed_repeatability_share": _SHARE,
    "guard_factor": (0, 10),
    "headline_window": (1, 365),
    "season_starts_month": (1, 12),
    "service_gap_days": (1, 36500),
    "flag_margin": _SHARE,
    "false_discovery_limit": _SHARE,
    "minimum_cases": (1, 10_000),
    "labour_cost_per_hour": (0, 1e6),
    "trip_cost": (0, 1e6),
    "swap_labour_minutes": (0, 1440),
    "bench_test_minutes": (0, 1440),
    "random_seed": (0, 2**63 - 1),
}


def _check_words(settings: Settings) -> None:
    try:
        ZoneInfo(settings.time_zone)
    except (KeyError, ValueError, OSError) as error:
        allowed = 'a name of the IANA time-zone list, such as "America/Chicago"'
        raise SettingsError(_told("time_zone", settings.time_zone, allowed)) from error
    if not (len(settings.currency) == 3 and settings.currency.isascii() and settings.currency.isupper()):
        raise SettingsError(_told("currency", settings.currency, 'an ISO 4217 code of three capitals, such as "USD"'))
    unit = settings.default_pressure_unit
    if unit is not None and unit not in PASCAL_PER_UNIT:
        raise SettingsError(_told("default_pressure_unit", unit, "one of " + ", ".join(PASCAL_PER_UNIT)))
    windows = settings.callback_windows
    if not windows or list(windows) != sorted(set(windows)) or not 1 <= windows[0] <= windows[-1] <= 365:
        raise SettingsError(_told("callback_windows", list(windows), "rising whole days from 1 to 365"))
    if settings.headline_window not in windows:
        allowed = f"one of callback_windows {list(windows)}"
        raise SettingsError(_told("headline_window", settings.headline_window, allowed))


def _typed(given: dict[str, Any]) -> dict[str, Any]:
    """The values of a settings file in the types of Settings, or SettingsError."""
    kinds = typing.get_type_hints(Settings)
    known = [*(entry.name for entry in fields(Settings)), *exchange_rates.NAMES]
    typed = {}
    for name, value in given.items():
        if name not in kinds:
            raise SettingsError(f"{name} is not a setting. Settings are: {', '.join(known)}.")
        typed[name] = _as_kind(name, value, kinds[name])
    unit = typed.get("default_pressure_unit")
    if unit is not None:
        typed["default_pressure_unit"] = unit_code(unit) or unit
    return typed


def _as_kind(name: str, value: Any, kind: Any) -> Any:
    if isinstance(kind, types.UnionType):
        kind = next(part for part in typing.get_args(kind) if part is not type(None))
    is_whole = isinstance(value, int) and not isinstance(value, bool)
    if kind is str and isinstance(value, str):
        return value
    if kind is int and is_whole:
        return value
    if kind is float and (is_whole or isinstance(value, float)):
        return float(value)
    if typing.get_origin(kind) is tuple and isinstance(value, list):
        return tuple(_as_kind(name, entry, int) for entry in value)
    words = {str: "text in quotes", int: "a whole number", float: "a number"}
    raise SettingsError(_told(name, value, words.get(kind, "whole numbers in square brackets")))
