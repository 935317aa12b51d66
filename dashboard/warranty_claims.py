"""On Parts waste: the warranty claims that were refused or are not decided, and the printed pack of one of them."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard import download, in_address, lookups, roles, visit_table, words
from models.figures.scope import Scope

OUTCOMES = {"refused": "refused", "open": "not decided yet", "paid": "paid"}
NO_REASON = "no reason given"
# Most claims of a list; a large company has tens of thousands, which no browser should have to hold.
LISTED = 500


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
        visit_table.plain_table(table(claims.head(LISTED)), "claims", whole=lambda: table(claims))
        if len(claims) > LISTED:
            st.caption(
                words.plain(f"The newest {LISTED} of {words.count(len(claims))} stand here; the file holds all.")
            )
    if not roles.may_have_pack("warranty"):
        return
    # A pack is made of any claim; those that may still be argued about come first.
    every = pd.concat([claims, lookups.claims(scope, ("paid",))], ignore_index=True)
    chosen = _chosen(every)
    if chosen is not None:
        download.pack("warranty", scope, claim_id=chosen)


def _chosen(every: pd.DataFrame) -> str | None:
    """The claim picked from the list, or typed where there are more than the list holds. every: see lookups.claims."""
    ids = every["claim_id"].astype(str)
    listed = every[(ids.index < LISTED) | ids.eq(st.query_params.get("claim"))]
    told = {str(claim.claim_id): _label(claim) for claim in listed.itertuples()}
    unknown = "Claim {} is not on record for these filters."
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        picked = in_address.choice(
            "Claim", list(told), "claim", unknown, "Choose a claim to print its pack", told.__getitem__, width=560
        )
        if len(every) <= LISTED:
            return picked
        typed = (st.text_input("or any claim by its id", key="claim_id", bind="query-params", width=240) or "").strip()
    if not typed:
        return picked
    if ids.eq(typed).any():
        st.markdown(words.plain(f"The pack is of claim {typed}. Clear the box to choose from the list."))
        return typed
    st.markdown(words.plain(unknown.format(in_address.shortened(typed))))
    return None


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
