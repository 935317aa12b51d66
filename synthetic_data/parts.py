"""The parts list and the lines of parts on visits. Part numbers are invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from pipelines.contract import codes
from synthetic_data import causes
from synthetic_data.columns import coded, flags, identifiers, numbers, table_of, whole
from synthetic_data.places import RATED_BREAK_INCH, RATED_MAKE_INCH, TOLERANCE_INCH, Places
from synthetic_data.routine import KIND
from synthetic_data.scenario import BlockPlan, Scenario

CLASSES = codes.PART_CLASS.values()
CLASS = {name: number for number, name in enumerate(CLASSES)}
STATUSES = codes.LINE_STATUS.values()
STATUS = {name: number for number, name in enumerate(STATUSES)}
BLANK_STATUS = -1

_N_MODELS = len(RATED_MAKE_INCH)
SWITCH_NUMBERS = tuple(f"DPS-{round(inch * 100):03d}-B" for inch in RATED_MAKE_INCH)
OLD_SWITCH_NUMBERS = tuple(f"DPS-{round(inch * 100):03d}" for inch in RATED_MAKE_INCH)
SWITCH_COST = np.round(24 + 9 * np.arange(_N_MODELS) ** 0.8, 2)
# Other parts: number, class, description, cost.
_OTHERS = (
    ("GPS-20", "gas_switch", "pressure switch gas 20 mbar", 41.0),
    ("WPS-11", "water_switch", "pressure switch, water side", 33.5),
    ("RPS-07", "refrigerant_switch", "high pressure switch refrigerant", 52.0),
    ("HSE-06", "hose", "sensing hose 6 mm", 3.2),
    ("RST-01", "restrictor", "restrictor for sensing hose", 2.1),
    ("TRP-04", "trap", "condensate trap with seal", 18.4),
    ("TRP-09", "trap", "drain line kit", 26.0),
    ("DFA-31", "draft_fan", "draft fan motor", 143.0),
    ("DFA-32", "draft_fan", "draft fan assembly incl. pressure switch", 189.0),
    ("CBD-15", "control_board", "control board", 212.0),
    ("OTH-02", "other", "flame sensor", 14.5),
    ("OTH-03", "other", "filter 16x25", 6.8),
    ("OTH-05", "other", "igniter", 39.0),
)
OTHER_NUMBER = {row[0]: _N_MODELS + number for number, row in enumerate(_OTHERS)}
NUMBERS = SWITCH_NUMBERS + tuple(row[0] for row in _OTHERS) + OLD_SWITCH_NUMBERS
_FIRST_OLD = _N_MODELS + len(_OTHERS)
CLASS_OF = np.array(
    [CLASS["draft_switch"]] * _N_MODELS + [CLASS[row[1]] for row in _OTHERS] + [CLASS["draft_switch"]] * _N_MODELS
)
COST_OF = np.concatenate([SWITCH_COST, [row[3] for row in _OTHERS], SWITCH_COST * 0.93]).round(2)

SWITCH_WORDS = (
    "pressure switch",
    "Pressure switch draft proving",
    "press. switch {m} wc",
    "PRESSURE SW {m}",
    "air proving switch",
    "vent pressure switch",
    'switch, draft, {m}" wc',
    "P/S draft {m}",
)
RECALL_WORDS = (
    "pressure switch, recall campaign",
    "RECALL pressure switch exchange",
    "safety recall: draft switch replaced",
)
UPGRADE_WORDS = ("upgrade kit, pressure switch", "pressure switch upgrade (customer request)", "UPGRADE press. switch")
INSIDE_FAN_WORDS = ("pressure switch, came with draft fan assembly", "switch incl. in new fan assembly")


def parts_table() -> pa.Table:
    """The parts list, the same for every fleet."""
    n = len(NUMBERS)
    is_switch = np.equal(CLASS_OF, CLASS["draft_switch"])
    model = np.where(np.arange(n) < _N_MODELS, np.arange(n), np.maximum(np.arange(n) - _FIRST_OLD, 0))
    newer = np.where(np.arange(n) >= _FIRST_OLD, np.arange(n) - _FIRST_OLD, -1)
    # One old number has lost its rating, one rating its tolerance: as it is in real lists.
    has_rating = is_switch & (np.arange(n) != n - 1)
    return table_of(
        "parts",
        {
            "part_number": pa.array(NUMBERS, pa.string()),
            "part_class": coded(CLASSES, CLASS_OF),
            "rated_make_pressure": numbers(RATED_MAKE_INCH[model], 2, has_rating),
            "rated_break_pressure": numbers(RATED_BREAK_INCH[model], 2, has_rating),
            "make_tolerance": numbers(TOLERANCE_INCH[model], 2, has_rating & (np.arange(n) != n - 2)),
            "maximum_pressure": numbers(np.full(n, 28.0), 1, is_switch),
            "pressure_unit": coded(("in. w.c.",), np.where(is_switch, 0, -1)),
            "has_intentional_bleed": flags(model == _N_MODELS - 1, is_switch),
            "is_adjustable": flags(np.zeros(n, bool), is_switch),
            "superseded_by": coded(NUMBERS, newer),
            "unit_cost": numbers(COST_OF, 2),
            "currency": coded(("USD",), np.zeros(n, int)),
        },
    )


@dataclass
class _Lines:
    """Lines being collected: arrays per column, one entry per batch."""

    batches: list[dict[str, np.ndarray]]

    def add(self, visit: np.ndarray, part: np.ndarray | int, **more: np.ndarray | float | int) -> None:
        n = len(visit)
        full = {
            "words": -1,
            "quantity": 1.0,
            "status": BLANK_STATUS,
            "tag": -1,
            "warranty": -1,
            "free": 0,
            "keeps": 0,
        } | more
        batch = {name: np.broadcast_to(np.asarray(value), n) for name, value in full.items()}
        self.batches.append({"visit": visit, "part": np.broadcast_to(np.asarray(part), n), **batch})

    def frame(self) -> pd.DataFrame:
        names = self.batches[0]
        frame = pd.DataFrame({name: np.concatenate([batch[name] for batch in self.batches]) for name in names})
        order = np.argsort(frame["visit"].to_numpy(), kind="stable")
        frame = frame.iloc[order].reset_index(drop=True)
        visit = frame["visit"].to_numpy()
        starts = np.flatnonzero(np.r_[True, visit[1:] != visit[:-1]])
        frame["line_no"] = np.arange(len(frame)) - np.repeat(starts, np.diff(np.r_[starts, len(frame)])) + 1
        return frame


# Descriptions of lines, numbered: switch words per model, then recall, upgrade, inside a fan, then other parts.
_WORDS = (
    tuple(
        word.format(m=f".{round(inch * 100):02d}" if inch < 1 else f"{inch:g}")
        for inch in RATED_MAKE_INCH
        for word in SWITCH_WORDS
    )
    + RECALL_WORDS
    + UPGRADE_WORDS
    + INSIDE_FAN_WORDS
    + tuple(row[2] for row in _OTHERS)
)
_RECALL_AT = _N_MODELS * len(SWITCH_WORDS)
_UPGRADE_AT = _RECALL_AT + len(RECALL_WORDS)
_INSIDE_AT = _UPGRADE_AT + len(UPGRADE_WORDS)
_OTHERS_AT = _INSIDE_AT + len(INSIDE_FAN_WORDS)


def part_lines(
    rng: np.random.Generator,
    scenario: Scenario,
    jobs: pd.DataFrame,
    visits: pd.DataFrame,
    swaps: pd.DataFrame,
    places: Places,
    plan: BlockPlan,
) -> pa.Table:
    """Every part line of a block: switches fitted, quoted, credited, recalled, and all other parts."""
    lines = _Lines([])
    part_of_visit = places.switch_model[visits["appliance"].to_numpy()]

    def switch_words(visit: np.ndarray) -> np.ndarray:
        return part_of_visit[visit] * len(SWITCH_WORDS) + rng.integers(0, len(SWITCH_WORDS), len(visit))

    swapped = swaps["visit"].to_numpy()
    old = rng.random(len(swapped)) < 0.09 * scenario.dirt
    lines.add(
        swapped,
        part_of_visit[swapped] + np.where(old, _FIRST_OLD, 0),
        words=switch_words(swapped),
        status=np.where(rng.random(len(swapped)) < 0.45, STATUS["fitted"], BLANK_STATUS),
        tag=np.where(swaps["has_tag"], swapped, -1),
        warranty=rng.random(len(swapped)) < 0.4,
    )
    part, waits = visits["part"].to_numpy(), visits["waits"].to_numpy(bool)
    job = visits["source"].to_numpy()
    ends = np.flatnonzero((part == 2) | ((part == 1) & ~waits))
    has_swap, cause, found = (jobs[name].to_numpy()[job[ends]] for name in ("has_swap", "cause", "is_found"))
    without = ends[~has_swap]
    quoted = without[rng.random(len(without)) < 0.05]
    lines.add(quoted, part_of_visit[quoted], words=switch_words(quoted), status=STATUS["quoted"])
    tried = without[rng.random(len(without)) < 0.02]
    words = switch_words(tried)
    # A line and its credit carry the same number, or nobody could tell that they belong together.
    lines.add(tried, part_of_visit[tried], words=words, status=STATUS["fitted"], keeps=1)
    lines.add(tried, part_of_visit[tried], words=words, status=STATUS["credited"], quantity=-1.0, keeps=1)
    unused = without[rng.random(len(without)) < 0.01]
    lines.add(unused, part_of_visit[unused], words=switch_words(unused), status=STATUS["returned"])
    _repairs(rng, lines, ends, cause, found, has_swap)
    _routine(rng, lines, visits, part_of_visit)
    return _as_table(rng, scenario, lines.frame(), plan)


def _repairs(
    rng: np.random.Generator,
    lines: _Lines,
    ends: np.ndarray,
    cause: np.ndarray,
    found: np.ndarray,
    has_swap: np.ndarray,
) -> None:
    """Parts that go with the repair of a cause that was found."""
    for number, codes_of, share in (
        ("HSE-06", ("hose_leak_or_kink", "hose_water"), 0.6),
        ("RST-01", ("restrictor_missing",), 0.9),
        ("TRP-04", ("trap_fouled",), 0.35),
        ("TRP-09", ("drain_slope_or_double_trap", "drain_pump_or_shared_drain", "drain_frozen"), 0.4),
        ("DFA-31", ("fan_worn", "fan_supply"), 0.45),
        ("CBD-15", ("board_input",), 0.8),
    ):
        of_cause = np.isin(cause, [causes.NUMBER[code] for code in codes_of])
        rows = ends[found & of_cause & (rng.random(len(ends)) < share)]
        lines.add(rows, OTHER_NUMBER[number], words=_OTHERS_AT + OTHER_NUMBER[number] - _N_MODELS)
    # A whole draft-fan assembly brings its own switch: no swap.
    worn = found & (cause == causes.NUMBER["fan_worn"]) & ~has_swap & (rng.random(len(ends)) < 0.35)
    rows = ends[worn]
    lines.add(rows, OTHER_NUMBER["DFA-32"], words=_OTHERS_AT + OTHER_NUMBER["DFA-32"] - _N_MODELS)
    inside = rows[rng.random(len(rows)) < 0.25]
    lines.add(inside, 0, words=_INSIDE_AT + rng.integers(0, len(INSIDE_FAN_WORDS), len(inside)), free=1)


def _routine(rng: np.random.Generator, lines: _Lines, visits: pd.DataFrame, model: np.ndarray) -> None:
    """Parts on routine visits, other kinds of pressure switch and recalls among them."""
    kind = np.where(visits["part"].to_numpy() == 0, visits["kind"].to_numpy(), -1)
    chance = rng.random(len(visits))
    for number, name, low, high in (
        ("OTH-03", "maintenance", 0.00, 0.40),
        ("HSE-06", "maintenance", 0.40, 0.43),
        ("TRP-04", "maintenance", 0.43, 0.46),
        ("OTH-02", "no_heat", 0.00, 0.20),
        ("OTH-05", "no_heat", 0.20, 0.34),
        ("CBD-15", "no_heat", 0.34, 0.39),
        ("GPS-20", "no_heat", 0.39, 0.415),
        ("WPS-11", "no_heat", 0.415, 0.44),
        ("WPS-11", "other_fault", 0.00, 0.03),
        ("RPS-07", "other", 0.00, 0.03),
        ("OTH-05", "return_for_part", 0.00, 0.45),
        ("CBD-15", "return_for_part", 0.45, 0.90),
    ):
        rows = np.flatnonzero((kind == KIND[name]) & (chance >= low) & (chance < high))
        lines.add(rows, OTHER_NUMBER[number], words=_OTHERS_AT + OTHER_NUMBER[number] - _N_MODELS)
    for first, count, low in ((_RECALL_AT, len(RECALL_WORDS), 0.980), (_UPGRADE_AT, len(UPGRADE_WORDS), 0.985)):
        rows = np.flatnonzero((kind == KIND["maintenance"]) & (chance >= low) & (chance < low + 0.0018))
        lines.add(rows, model[rows], words=first + rng.integers(0, count, len(rows)), status=STATUS["fitted"])


def _as_table(rng: np.random.Generator, scenario: Scenario, frame: pd.DataFrame, plan: BlockPlan) -> pa.Table:
    n = len(frame)
    part, words = frame["part"].to_numpy(), frame["words"].to_numpy()
    has_number = (rng.random(n) > 0.02 * scenario.dirt) | (frame["keeps"].to_numpy() == 1)
    has_number &= frame["free"].to_numpy() == 0
    # The class is left blank only where the part number still tells it.
    has_class = ~has_number | (rng.random(n) > 0.03 * scenario.dirt)
    cost = np.where(frame["free"].to_numpy() == 1, 0.0, COST_OF[part])
    first = (plan.number + 1) * 1_000_000
    tag = frame["tag"].to_numpy()
    return table_of(
        "part_lines",
        {
            "visit_id": identifiers("V", first + frame["visit"].to_numpy(), 7),
            "line_no": whole(frame["line_no"].to_numpy()),
            "part_number": coded(NUMBERS, np.where(has_number, part, -1)),
            "part_class": coded(CLASSES, np.where(has_class, CLASS_OF[part], -1)),
            "description": coded(_WORDS, words),
            "quantity": numbers(frame["quantity"].to_numpy(), 0),
            "line_status": coded(STATUSES, frame["status"].to_numpy()),
            "unit_cost": numbers(cost, 2, rng.random(n) > 0.04 * scenario.dirt),
            "price": numbers(cost * 2.1 * frame["quantity"].to_numpy(), 2, rng.random(n) > 0.2),
            "currency": coded(("USD",), np.zeros(n, int)),
            "is_under_warranty": flags(frame["warranty"].to_numpy() == 1, frame["warranty"].to_numpy() >= 0),
            "removed_tag": identifiers("TAG", first + np.maximum(tag, 0), 7, tag >= 0),
        },
    )
