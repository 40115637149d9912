"""One request at the desk: its context, its words, the actions it may run, the page it answers with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING, Annotated, Any
from uuid import uuid4

from fastapi import Depends, Request
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, RedirectResponse, Response

from saltfare.actions import registry
from saltfare.actions.money import minor_digits
from saltfare.core.errors import Problem
from saltfare.faces.door.roles import needed, permit
from saltfare.faces.web.forms import Form, data, refused
from saltfare.faces.web.says import says
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from pydantic import BaseModel

    from saltfare.actions.context import Context

PARTS = (
    ("bench", "/"),
    ("pieces", "/pieces"),
    ("dishes", "/dishes"),
    ("shelf", "/shelf"),
    ("trips", "/trips"),
    ("chambers", "/chambers"),
    ("sources", "/sources"),
    ("settings", "/settings"),
)
MAX_FIELDS = 3000


@cache
def templates() -> Environment:
    """The templates: escaped, and an unknown name is an error instead of nothing."""
    return Environment(
        loader=PackageLoader("saltfare.faces", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


@cache
def static(name: str) -> str:
    """The address of a file of ours; it changes when the file does, so it may be kept for good."""
    content = (files("saltfare.faces") / "static" / name).read_bytes()
    return f"/static/{name}?v={sha256(content).hexdigest()[:12]}"


class Desk:
    """What a route has at hand."""

    def __init__(self, request: Request, context: Context) -> None:
        self.request = request
        self.context = context

    @cached_property
    def words(self) -> Words:
        """The words as this person reads them."""
        settings = self.context.settings
        return Words(
            pseudo=bool(getattr(self.request.app.state, "pseudo", False)),
            measures=settings.measures,
            decimal=settings.decimal,
            zone=settings.zone,
            locale=settings.locale,
            today=self.context.today,
        )

    @property
    def partial(self) -> bool:
        """Whether only the fragment is asked for."""
        return self.request.headers.get("x-partial") == "1"

    def run(self, name: str, given: Mapping[str, Any] | None = None) -> Any:
        """Run an action; its model comes back. Raises NotPermitted."""
        permit(self.request.scope, needed(registry.get(name)))
        output: BaseModel = registry.run(name, self.context, given or {})
        return output

    def send(self, name: str, typed: Mapping[str, str], **more: Any) -> Any:
        """Run an action on what a form sent."""
        return self.run(name, {**data(typed, zone=self.context.settings.zone), **more})

    def refused(
        self, typed: Mapping[str, str], problems: tuple[Problem, ...], *, prefix: str = "", of: str = ""
    ) -> Form:
        """The form again, with what is wrong. of: what its controls belong to, where that names them."""
        return refused(typed, problems, self.words, prefix=prefix, of=of)

    def page(self, template: str, *, part: str = "", status: int = 200, **view: Any) -> Response:
        """A page, or the fragment of that name."""
        view = {"demo": self.context.demo, "context": self.context, "money": self.money, **view}
        return HTMLResponse(render(self.words, template, part=part, **view), status)

    def money(self, minor: float) -> str:
        """An amount of money in the household's currency."""
        currency = self.context.settings.currency
        return self.words.shown.money(minor, currency, minor_digits(currency))

    def go(self, address: str) -> Response:
        """On to the page that shows what was done."""
        return RedirectResponse(address, status_code=303)


def render(words: Words, template: str, *, part: str = "", demo: bool = False, **view: Any) -> str:
    """A template as text. Works without a context, for pages that say what went wrong."""
    given = {
        "t": words.t,
        "words": words,
        "shown": words.shown,
        "static": static,
        "parts": PARTS,
        "part": part,
        "demo": demo,
        "form": Form(),
        "request_id": lambda: str(uuid4()),
        "plain": lambda value: plain(value, words),
        **says(words),
        **view,
    }
    return templates().get_template(template).render(given)


def plain(value: object, words: Words) -> str:
    """An input of a trace as text: numbers to six figures."""
    if isinstance(value, float):
        text = f"{value:.6g}"
        return text.replace(".", ",") if words.shown.decimal == "comma" else text
    return "–" if value is None else str(value)


@dataclass(frozen=True, slots=True)
class Maker:
    """How the application makes a context, kept where the requests find it."""

    make: Callable[[], Context]


def _desk(request: Request) -> Desk:
    maker: Maker = request.app.state.maker
    return Desk(request, maker.make())


async def _typed(request: Request) -> dict[str, str]:
    """The text fields of a posted form, the first of each name."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    out: dict[str, str] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            out.setdefault(name, value)
    return out


AtDesk = Annotated[Desk, Depends(_desk)]
Typed = Annotated[dict[str, str], Depends(_typed)]
