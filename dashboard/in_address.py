"""What was chosen, in the address: so that it can be sent and kept as a bookmark."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from dashboard import words

# An id from an address is shown back to its reader no longer than this.
LONGEST = 64


def choice(
    title: str,
    options: Sequence[str],
    param: str,
    unknown: str,
    placeholder: str,
    shown: Callable[[str], str] = str,
    is_first_usual: bool = False,
    width: int = 340,
    written: Callable[[str], str] = str,
) -> str | None:
    """A list whose choice stands in the address as `param`; the chosen one, or None.

    unknown: said, with {} for the id, where the address asks for one that is not in the list; then nothing is chosen.
    is_first_usual: the first is chosen where nothing was asked for; it is then not written into the address.
    written: how an option stands in the address; as it is, it is understood there, too.
    """
    known = list(options)
    asked = st.query_params.get(param)
    asked = {written(one): one for one in known}.get(asked, asked) if asked is not None else None
    usual = 0 if is_first_usual and known else None
    one = st.selectbox(
        title,
        known,
        index=known.index(asked) if asked in known else usual if asked is None else None,
        format_func=shown,
        key=f"{param}_choice",
        placeholder=placeholder,
        width=width,
    )
    if one is None:
        if asked is not None and asked not in known:
            st.markdown(words.plain(unknown.format(shortened(asked))))
        elif asked is not None:
            del st.query_params[param]
    elif asked is not None or usual is None or one != known[0]:
        st.query_params[param] = written(one)
    return one


def shortened(asked: str) -> str:
    """An id as it came with the address, of a length that can be shown."""
    return asked if len(asked) <= LONGEST else f"{asked[:LONGEST]}…"
