"""How this reader wants numbers written: unit of draft, unit of temperature, separators, currency; held in the address.

Money stands in the company's currency unless the reader chose one that settings.toml gives a rate for (dashboard.exchange).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextvars import ContextVar
from typing import Any, TypeVar

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

# Shown -> what models.figures.sites.draft_unit takes.
DRAFT_UNITS = {"in. w.c.": "[in_i'H2O]", "Pa": "Pa"}
TEMPERATURES = ("°C", "°F")
# As shown -> (thousands, decimal). The space is narrow and does not break.
NUMBERS = {"1,234.5": (",", "."), "1.234,5": (".", ","), "1 234,5": ("\u202f", ",")}
DRAFT_KEY, TEMPERATURE_KEY, NUMBERS_KEY, MONEY_KEY = "draft_in", "temperature_in", "numbers", "money_in"
HOW_TO_OFFER = (
    "Who may see amounts is offered other currencies where settings.toml gives rates of exchange: exchange_rates, and "
    "exchange_rates_on for their day."
)
Result = TypeVar("Result")
# A file is made outside the run that drew its button, where the reader's session is out of reach.
_kept: ContextVar[dict[str, str] | None] = ContextVar("kept_choices", default=None)


def keeping(work: Callable[..., Result]) -> Callable[..., Result]:
    """The same work, done later in the units, separators and currency chosen now."""
    chosen = {key: _chosen(key) for key in (DRAFT_KEY, TEMPERATURE_KEY, NUMBERS_KEY, MONEY_KEY)}

    def done_later(*arguments: Any) -> Result:
        token = _kept.set(chosen)
        try:
            return work(*arguments)
        finally:
            _kept.reset(token)

    return done_later


def draft_unit(company_unit: str | None) -> str | None:
    """The unit draft is told in: the reader's, else the company's."""
    return DRAFT_UNITS.get(_chosen(DRAFT_KEY), company_unit)


def temperature() -> str:
    """°C or °F: the reader's; °C while nothing is chosen."""
    return chosen_temperature() or TEMPERATURES[0]


def chosen_temperature() -> str | None:
    """°C or °F; None where nobody chose, as in a command."""
    chosen = _chosen(TEMPERATURE_KEY)
    return chosen if chosen in TEMPERATURES else None


def currency() -> str:
    """The code of the currency asked for, which may be any text; blank while none is."""
    return _chosen(MONEY_KEY)


def separators() -> tuple[str, str]:
    """What stands between thousands, and before decimals."""
    return NUMBERS.get(_chosen(NUMBERS_KEY), NUMBERS["1,234.5"])


def written(text: str) -> str:
    """A number formatted as 1,234.5 in the reader's separators."""
    thousands, decimal = separators()
    if (thousands, decimal) == (",", "."):
        return text
    return text.replace(",", "\0").replace(".", decimal).replace("\0", thousands)


def show(company_unit: str, currency: str, others: Sequence[str], extra: Callable[[], None]) -> None:
    """The choices, behind one button.

    company_unit: as DRAFT_UNITS names it. others: currencies offered beside the company's. extra: what else stands there.
    """
    with st.popover("Units", width="content"):
        _choice("Draft", list(DRAFT_UNITS), company_unit, DRAFT_KEY)
        _choice("Temperature", list(TEMPERATURES), TEMPERATURES[0], TEMPERATURE_KEY)
        _choice("Numbers", list(NUMBERS), next(iter(NUMBERS)), NUMBERS_KEY)
        if others:
            _choice("Money", [currency, *others], currency, MONEY_KEY)
        else:
            st.caption(
                f"Money is in {currency}, as the settings say; what is priced otherwise is not converted. {HOW_TO_OFFER}"
            )
        extra()


def _choice(title: str, options: list[str], usual: str, key: str) -> None:
    """One choice. What is behind a closed button is not bound to the address by the server, so it is written there here."""
    asked = st.session_state.get(key) or st.query_params.get(key)
    place = options.index(asked) if asked in options else options.index(usual)
    chosen = st.selectbox(title, options, place, key=f"{key}_choice")
    st.session_state[key] = chosen
    if chosen != usual:
        st.query_params[key] = chosen
    elif key in st.query_params:
        del st.query_params[key]


def _chosen(key: str) -> str:
    """What is chosen, also before this run has drawn the choice: by the click that caused it, earlier, or the address."""
    kept = _kept.get()
    if kept is not None:
        return kept[key]
    if get_script_run_ctx(suppress_warning=True) is None:
        # A command, which has no reader at a page; the page library would say so at each number.
        return ""
    return str(st.session_state.get(f"{key}_choice") or st.session_state.get(key) or st.query_params.get(key) or "")
