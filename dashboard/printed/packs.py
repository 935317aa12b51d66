"""Which packs there are, and how each is made."""

from __future__ import annotations

from collections.abc import Callable

from dashboard import roles
from dashboard.printed import closeout, coaching, drawing, season, warranty, week
from dashboard.printed.paper import Document
from models.figures.scope import Scope

KINDS = ("week", "coaching", "warranty", "season", "closeout")


def document(
    kind: str,
    scope: Scope,
    name_of: Callable[[object], str],
    technician_id: str | None = None,
    claim_id: str | None = None,
    font: str | None = drawing.FONT,
) -> Document:
    """The pack of this kind (one of KINDS) as a document. Raises NotAllowed where the reader may not have it.

    name_of: technicians as the reader may see them. font: of its charts; None = the reader's own, for the web page.
    """
    roles.require_pack(kind, technician_id)
    if kind == "week":
        return week.week_pack(scope, name_of, font)
    if kind == "coaching":
        return coaching.coaching_pack(str(technician_id), scope, name_of, font)
    if kind == "warranty":
        return warranty.warranty_pack(str(claim_id))
    if kind == "closeout":
        return closeout.closeout_pack(scope)
    return season.season_pack(scope, font)
