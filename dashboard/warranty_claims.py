"""On Parts waste: the warranty claims that were refused or are not decided, and the printed pack of one of them."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import download, in_address, lookups, roles, visit_table, words
from models.figures.scope import Scope

OUTCOMES = {"refused": "refused", "open": "not decided yet", "paid": "paid"}
NO_REASON = "no reason given"


def show(scope: Scope) -> None:
    """The list, and the buttons that make the pack of the claim chosen."""
    claims = lookups.claims(scope)
    st.header("Claims refused or not decided")
    if claims.empty:
        st.markdown("No claim for a pulled switch was refused or is waiting for a decision.")
    else:
        n_refused = int(claims["outcome"].eq("refused").sum())
        st.markdown(
            words.plain(
                f"{words.count(n_refused)} refused, {words.count(len(claims) - n_refused)} not decided yet, the newest first. "
                "The pack of a claim puts together what is on record for it, and says what is missing."
            )
        )
        visit_table.plain_table(table(claims), "claims")
    if not roles.may_have_pack("warranty"):
        return
    # A pack is made of any claim; those that may still be argued about come first.
    every = pd.concat([claims, lookups.claims(scope, ("paid",))], ignore_index=True)
    told = {str(claim.claim_id): _label(claim) for claim in every.itertuples()}
    chosen = in_address.choice(
        "Claim",
        list(told),
        "claim",
        "Claim {} is not on record for these filters.",
        "Choose a claim to print its pack",
        told.__getitem__,
        width=560,
    )
    if chosen is not None:
        download.pack("warranty", scope, claim_id=chosen)


def table(claims: pd.DataFrame) -> pd.DataFrame:
    """The claims as the page shows them. claims: see lookups.claims."""
    return pd.DataFrame(
        {
            "Claim": claims["claim_id"],
            "Filed": claims["filed_on"],
            "Decided": claims["decided_on"],
            "Outcome": claims["outcome"].map(OUTCOMES),
            "Reason as given": [_reason(claim) for claim in claims.itertuples()],
            "Bench": [
                "" if words.is_missing(one) else words.in_words(one, words.VERDICT_WORDS) for one in claims["verdict"]
            ],
            "Part": claims["part_number"],
            "Visit": claims["visit_id"],
        }
    )


def _reason(claim: object) -> str:
    if claim.outcome != "refused":  # type: ignore[attr-defined]
        return ""
    said = claim.refusal_reason  # type: ignore[attr-defined]
    return NO_REASON if words.is_missing(said) or not str(said).strip() else str(said)


def _label(claim: object) -> str:
    parts = [str(claim.claim_id), OUTCOMES[claim.outcome], _reason(claim)]  # type: ignore[attr-defined]
    return ", ".join(part for part in parts if part)[:120]
