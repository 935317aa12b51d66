"""Arrow columns from whole arrays: identifiers, codes, flags, times and numbers, without a loop over rows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.contract.tables import TABLE_BY_NAME

MINUTES_PER_DAY = 1440


def identifiers(prefix: str, numbers: np.ndarray, width: int, is_valid: np.ndarray | None = None) -> pa.Array:
    """Text such as "V0000017"; null where not valid. numbers: non-negative integers, shape (n,)."""
    mask = None if is_valid is None else ~is_valid
    digits = pc.utf8_lpad(pa.array(np.asarray(numbers, np.int64), mask=mask).cast(pa.string()), width, "0")
    return pc.binary_join_element_wise(pa.scalar(prefix), digits, "")


def coded(values: Sequence[str], numbers: np.ndarray) -> pa.Array:
    """Text picked from `values` by number; null where the number is negative."""
    numbers = np.asarray(numbers)
    return pa.array(list(values), pa.string()).take(pa.array(numbers.astype(np.int64), mask=numbers < 0))


def flags(values: np.ndarray, is_valid: np.ndarray | None = None) -> pa.Array:
    """Booleans; null where not valid."""
    return pa.array(np.asarray(values, bool), mask=None if is_valid is None else ~is_valid)


def numbers(values: np.ndarray, digits: int, is_valid: np.ndarray | None = None) -> pa.Array:
    """Floats rounded to `digits` decimals; null where not valid or not finite."""
    values = np.asarray(values, float)
    missing = ~np.isfinite(values)
    if is_valid is not None:
        missing |= ~is_valid
    return pa.array(np.round(values, digits), mask=missing)


def whole(values: np.ndarray, is_valid: np.ndarray | None = None) -> pa.Array:
    """Integers; null where not valid."""
    return pa.array(np.asarray(values, np.int64), mask=None if is_valid is None else ~is_valid)


def dates(first_day: date, days: np.ndarray, is_valid: np.ndarray | None = None) -> pa.Array:
    """ISO dates as text, days counted from first_day; null where not valid."""
    stamps = np.datetime64(first_day, "D") + np.asarray(days, np.int64)
    mask = None if is_valid is None else ~is_valid
    return pa.array(stamps, pa.date32(), mask=mask).cast(pa.string())


def timestamps(first_day: date, minutes: np.ndarray, times: str, is_valid: np.ndarray | None = None) -> pa.Array:
    """ISO 8601 times as text, minutes counted from midnight of first_day. times: "offset" or "local"."""
    stamps = np.datetime64(first_day, "s") + np.asarray(minutes, np.int64) * 60
    mask = None if is_valid is None else ~is_valid
    text = pc.replace_substring(pa.array(stamps, pa.timestamp("s"), mask=mask).cast(pa.string()), " ", "T")
    return pc.binary_join_element_wise(text, "+00:00", "") if times == "offset" else text


def table_of(name: str, given: dict[str, pa.Array]) -> pa.Table:
    """A table of the contract from the columns given; columns not given stay blank, in the contract's order.

    Raises KeyError when a column is not in the contract.
    """
    declared = [entry.name for entry in TABLE_BY_NAME[name].fields]
    unknown = set(given) - set(declared)
    if unknown:
        raise KeyError(f"{name}: not in the contract: {sorted(unknown)}")
    n_rows = len(next(iter(given.values())))
    blank = pa.nulls(n_rows, pa.string())
    return pa.table({column: given.get(column, blank) for column in declared})
