"""How well notes are read: precision and recall on hands that write in no fleet, and on labelled texts of others.

    python tests/notes/measure.py            # prints the tables
    python tests/notes/measure.py --write    # and keeps them in models/evidence/note_reading.json

Counts are of texts. `phrases` counts every distinct phrase of the held-out hands once, in plain writing: notes repeat
phrases, so the interval over phrases is the honest one for new wording. Wilson intervals, 95%.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

import models
from models.methods.proportion import wilson_interval
from pipelines.notes.reader import read_notes
from synthetic_data import held_out_phrases as phrases
from synthetic_data.causes import CODES, GROUPS
from synthetic_data.held_out_notes import HANDS, held_out_notes, of_half

SEED, N_NOTES = 20261125, 4_000
LABELS = Path(__file__).resolve().parents[1] / "data" / "excavator_labels.csv"
TARGET = Path(models.__path__[0]) / "evidence" / "note_reading.json"
GROUP_OF = dict(zip(CODES, GROUPS, strict=True))


def score(said: Sequence[bool], is_true: Sequence[bool]) -> dict[str, Any]:
    """Confusion counts, precision and recall, each as [value, low, high] or None where nothing could tell."""
    heard, true = np.asarray(said, bool), np.asarray(is_true, bool)
    hits, false, missed = int((heard & true).sum()), int((heard & ~true).sum()), int((~heard & true).sum())
    return {
        "n": len(true),
        "true_positive": hits,
        "false_positive": false,
        "false_negative": missed,
        "true_negative": int((~heard & ~true).sum()),
        "precision": _share(hits, hits + false),
        "recall": _share(hits, hits + missed),
    }


def _share(hits: int, trials: int) -> list[float] | None:
    if trials == 0:
        return None
    low, high = wilson_interval(hits, trials)
    return [round(float(value), 4) for value in (hits / trials, low, high)]


def held_out_scores(seed: int = SEED, n: int = N_NOTES, half: str = "reported") -> dict[str, dict[str, Any]]:
    """Scores on the held-out hands. `cause_described` is what the tier rests on: the recorded cause's own finding."""
    notes = held_out_notes(np.random.default_rng(seed), n, half)
    readings = read_notes(list(notes["note"]))
    described = np.array([g in r.by_group for g, r in zip(notes["cause_group"], readings, strict=True)])
    found = {
        "cause_described": score(described, notes["states_finding_of_group"]),
        "finding": score([bool(r.findings and r.by_group) for r in readings], notes["states_finding"]),
        "action": score([bool(r.actions) for r in readings], notes["states_action"]),
        "denial_or_doubt": score([bool(r.denials) for r in readings], notes["states_denial_or_doubt"]),
    }
    for hand in HANDS:
        rows = (notes["hand"] == hand).to_numpy()
        found[f"cause_described, {hand}"] = score(described[rows], notes["states_finding_of_group"][rows])
    for kind in ("denied", "open", "other_found", "silent"):
        rows = (notes["kind"] == kind).to_numpy()
        found[f"cause_described, {kind}"] = score(described[rows], notes["states_finding_of_group"][rows])
    return found | {"phrases": phrase_score(half)}


def phrase_score(half: str = "reported") -> dict[str, Any]:
    """Every phrase of the half about a group once: those that state a finding of it, and those that deny or doubt one."""
    stated = [(GROUP_OF[code], text, True) for code, texts in phrases.FOUND.items() for text in of_half(texts, half)]
    unstated = [
        (g, text, False)
        for kind in (phrases.DENIED, phrases.OPEN)
        for g, texts in kind.items()
        for text in of_half(texts, half)
    ]
    asked = [*stated, *unstated]
    readings = read_notes([text for _, text, _ in asked])
    return score([group in r.by_group for (group, _, _), r in zip(asked, readings, strict=True)], [x[2] for x in asked])


def excavator_scores(half: str = "reported") -> dict[str, dict[str, Any]]:
    """Scores on one half of the labelled work-order texts: the random draw, and with it the draw of marked texts."""
    with LABELS.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["half"] == half]
    found = {}
    for name, drawn in (("", ("all",)), (", marked texts too", ("all", "marked"))):
        chosen = [row for row in rows if row["drawn"] in drawn]
        readings = read_notes([row["text"] for row in chosen])
        for label, words in _LABELS.items():
            is_true = [row[label] == "1" for row in chosen]
            found[f"{label}{name}"] = score([bool(words(reading)) for reading in readings], is_true)
    return found


_LABELS = {
    "has_finding": lambda reading: reading.findings,
    "has_action": lambda reading: reading.actions,
    "is_denied_or_open": lambda reading: reading.denials,
}


def everything() -> dict[str, Any]:
    """All tables, as kept for the Method page."""
    return {
        "about": "What notes state, as read by pipelines/notes: precision and recall with Wilson 95% intervals",
        "held_out_hands": {
            "about": f"{N_NOTES} invented notes of {len(HANDS)} hands that write in no fleet, seed {SEED}, with every second "
            "phrase of theirs: the half not used for the vocabulary. One author wrote phrases and vocabulary, so that other "
            "people's wording may be read less or more often. Before any of these phrases was used, recall was 0.26 of notes "
            "and 0.30 of phrases.",
            "scores": held_out_scores(),
        },
        "excavator_texts": {
            "about": "Short texts of excavator work orders (Hodkiewicz & Ho 2016), labelled by us by the rule in "
            "tests/data/SOURCES.md: the half not used for development. They are no heating service's notes.",
            "scores": excavator_scores(),
        },
    }


def show(tables: dict[str, Any]) -> None:
    """Print the scores as one table."""
    print("| text | what | n | TP | FP | FN | precision | recall |\n|---|---|---|---|---|---|---|---|")
    for source in ("held_out_hands", "excavator_texts"):
        for what, s in tables[source]["scores"].items():
            shares = [
                f"{x[0]:.3f} ({x[1]:.3f} to {x[2]:.3f})" if x else "none to tell" for x in (s["precision"], s["recall"])
            ]
            counts = (s["n"], s["true_positive"], s["false_positive"], s["false_negative"], *shares)
            print(f"| {source} | {what} | " + " | ".join(map(str, counts)) + " |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", action="store_true", help="keep the tables for the Method page")
    options = parser.parse_args()
    tables = everything()
    show(tables)
    if options.write:
        TARGET.parent.mkdir(exist_ok=True)
        TARGET.write_text(json.dumps(tables, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
