"""What is printed from the pages: tags and the week's sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from saltfare.core.errors import Problem, Refused
from saltfare.faces.paper.tags import SIZES, tags_pdf
from saltfare.faces.paper.week import week_pdf
from saltfare.faces.web.desk import AtDesk, Desk, Typed
from saltfare.faces.web.forms import Form

if TYPE_CHECKING:
    from saltfare.actions.tags import TagsShown

router = APIRouter(include_in_schema=False)
Codes = Annotated[tuple[str, ...], Query()]


def pdf(content: bytes, name: str) -> Response:
    """A PDF that the browser may show or keep, of this moment alone."""
    return Response(
        content,
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}.pdf"', "cache-control": "no-store"},
    )


@router.get("/tags")
def choose(desk: AtDesk, request: Request, done: str = "") -> Response:
    """Which tags, in which size."""
    return _page(desk, request, done=bool(done))


@router.post("/tags/address")
def keep_address(desk: AtDesk, request: Request, typed: Typed) -> Response:
    """Keep the address the codes lead to."""
    try:
        desk.send("set_tag_address", typed)
    except Refused as error:
        return _page(desk, request, form=desk.refused(typed, error.problems), status=422)
    return desk.go("/tags?done=1")


@router.get("/tags.pdf")
def all_tags(
    desk: AtDesk,
    size: str = "sheet",
    code: Codes = (),
    kind: str = "",
) -> Response:
    """The tags of the pieces named, of all under way where none is."""
    return _tags(desk, size, {"codes": code, **({"kind": kind} if kind else {})}, "tags")


@router.get("/pieces/{code}/tag.pdf")
def one_tag(desk: AtDesk, code: str, size: str = "card") -> Response:
    """The tags of one piece."""
    return _tags(desk, size, {"codes": [code]}, f"tag-{quote(code, safe='')}")


@router.get("/week.pdf")
def week(desk: AtDesk) -> Response:
    """The week's sheet."""
    shown = desk.run("batch_sheet")
    return pdf(week_pdf(desk.words, shown, desk.context.now), f"week-{shown.days[0].isoformat()}")


def _tags(desk: Desk, size: str, given: dict[str, Any], name: str) -> Response:
    chosen = next((known for known in SIZES if known == size), None)
    if chosen is None:
        raise Refused(Problem("tag_size_unknown", "size", size[:20], ", ".join(SIZES)))
    shown: TagsShown = desk.run("tags", given)
    if not shown.tags:
        raise Refused(Problem("no_tags_to_print"))
    return pdf(tags_pdf(desk.words, shown, chosen, _cuts(desk)), name)


def _cuts(desk: Desk) -> dict[str, str]:
    return {row.text("id"): row.text("label") for row in desk.context.library.rows("cuts")}


def _page(
    desk: Desk, request: Request, *, form: Form | None = None, done: bool = False, status: int = 200
) -> Response:
    shown: TagsShown = desk.run("tags")
    here = f"{request.url.scheme}://{request.url.netloc}"
    return desk.page(
        "tags.html",
        part="pieces",
        status=status,
        form=form or Form({"address": shown.address}),
        tags=shown.tags,
        address=shown.address,
        here=here if here != shown.address else "",
        sizes=[(size, urlencode({"size": size})) for size in SIZES],
        done=done,
    )
