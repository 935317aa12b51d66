"""What the technicians wrote: varied notes by different hands, put together from fragments."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa

from synthetic_data.technicians import Technicians


def make_notes(rng: np.random.Generator, jobs: pd.DataFrame, visits: pd.DataFrame, technicians: Technicians) -> pa.Array:
    """One note per visit."""
    return pa.array(np.full(len(visits), "visit made", dtype=object), pa.string())
