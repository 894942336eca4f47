"""Routes of what is printed."""

from __future__ import annotations

import json
from typing import Final

from anyio import CapacityLimiter, to_thread
from fastapi import APIRouter
from fastapi.responses import Response

from foreaft.jobs.card import CardRequest, card
from foreaft.jobs.live import Desk
from foreaft.web.faces import Pages
from foreaft.web.references import translated
from foreaft.web.shelves import Shelves

TYPES: Final = {"pdf": "application/pdf", "png": "image/png"}


def card_routes(shelves: Shelves) -> APIRouter:
    """One route: the product itself, or as SVG one document per page."""
    routes = APIRouter(tags=["jobs"])
    desk, limiter = Desk(), CapacityLimiter(1)
    files = {kind: {"schema": {"type": "string", "format": "binary"}} for kind in TYPES.values()}

    @routes.post(
        "/api/card",
        response_model=None,
        responses={200: {"model": Pages, "content": files}},
        summary="Sticker or briefing of a plan",
    )
    async def print_card(asked: CardRequest) -> Response:
        """Sticker or briefing of a plan: SVG as JSON, a page each; all as PDF; one page as PNG."""
        asked = translated(asked, shelves.library)
        made = await to_thread.run_sync(card, asked, desk, limiter=limiter)
        if asked.format == "svg":
            pages = [page.decode() for page in made]
            return Response(json.dumps({"pages": pages}), media_type="application/json")
        return Response(made[0], media_type=TYPES[asked.format])

    return routes
