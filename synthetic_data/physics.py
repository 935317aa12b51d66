"""Draft at the switch: fan, vent, intake, condensate, hose, temperature and wind, each as a factor.

The form (a product of factors, the fan's pressure growing with the square of its speed, air denser when it is cold)
is common physics; the numbers are invented and kept in the range that is common practice.
"""

from __future__ import annotations

import numpy as np

from synthetic_data import causes

# A good switch makes this close to its rating (standard deviation, share of the rated make point).
GOOD_SPREAD_SHARE = 0.012
_LEAST_FACTOR, _MOST_FACTOR = 0.28, 0.62


def draft_pa(
    nominal_pa: np.ndarray,
    fan_speed: np.ndarray | float = 1.0,
    vent: np.ndarray | float = 1.0,
    intake: np.ndarray | float = 1.0,
    condensate: np.ndarray | float = 1.0,
    hose: np.ndarray | float = 1.0,
    outdoor_c: np.ndarray | float = 10.0,
    gust_m_s: np.ndarray | float = 8.0,
    wind_exposure: np.ndarray | float = 1.0,
) -> np.ndarray:
    """Draft at the switch in pascal, positive.

    nominal_pa: draft of the sound appliance at 10 degrees Celsius outdoors in a light wind. fan_speed: share of full
    speed. vent, intake, condensate, hose: share of the draft left by each, 1 = free. All broadcast together.
    """
    density = 283.15 / (273.15 + np.asarray(outdoor_c, float))
    wind = 1.0 - 0.00025 * np.asarray(wind_exposure, float) * np.asarray(gust_m_s, float) ** 2
    path = np.asarray(fan_speed, float) ** 2 * vent * intake * condensate * hose
    return np.asarray(nominal_pa, float) * path * density * np.clip(wind, 0.6, 1.0)


def faulty_draft_pa(
    rng: np.random.Generator,
    cause: np.ndarray,
    nominal_pa: np.ndarray,
    make_pa: np.ndarray,
    outdoor_c: np.ndarray,
    gust_m_s: np.ndarray,
    wind_exposure: np.ndarray,
    is_away: np.ndarray,
) -> np.ndarray:
    """Draft at the switch with the fault present, pascal; the sound draft where it is away or acts elsewhere.

    A draft that fails the switch lies below its make point: the restriction is drawn, then deepened where the
    appliance's spare draft would have hidden it (otherwise nobody would have called).
    """
    sound = draft_pa(nominal_pa, outdoor_c=outdoor_c, gust_m_s=gust_m_s, wind_exposure=wind_exposure)
    acts = np.array([path != "none" for path in causes.PATH])[cause] & ~is_away
    needed = 0.93 * make_pa / np.maximum(sound, 1.0)
    factor = np.minimum(rng.uniform(_LEAST_FACTOR, _MOST_FACTOR, len(cause)), needed)
    factor = np.where(acts, factor, 1.0)
    parts = {name: _on_path(cause, name, factor) for name in ("vent", "intake", "condensate", "hose")}
    fan_speed = np.sqrt(_on_path(cause, "fan", factor))
    return draft_pa(
        nominal_pa, fan_speed=fan_speed, outdoor_c=outdoor_c, gust_m_s=gust_m_s, wind_exposure=wind_exposure, **parts
    )


def _on_path(cause: np.ndarray, name: str, factor: np.ndarray) -> np.ndarray:
    return np.where(np.array([path == name for path in causes.PATH])[cause], factor, 1.0)


def true_make_pa(rng: np.random.Generator, rated_pa: np.ndarray, has_drifted: np.ndarray) -> np.ndarray:
    """Where the switch really makes, pascal: near its rating, or well above it when it has drifted."""
    good = rated_pa * (1 + GOOD_SPREAD_SHARE * np.clip(rng.standard_normal(len(rated_pa)), -2.5, 2.5))
    drifted = rated_pa * rng.uniform(1.22, 1.55, len(rated_pa))
    return np.where(has_drifted, drifted, good)


def gauge_reading_pa(rng: np.random.Generator, true_pa: np.ndarray, bias_share: np.ndarray) -> np.ndarray:
    """What a gauge shows, pascal before rounding: its own bias, and a flutter of about one percent."""
    return np.maximum(true_pa * (1 + bias_share + 0.008 * rng.standard_normal(len(true_pa))), 0.0)
