"""A site to test against: the application on a real socket, forms read and sent as a browser without
script would."""

from __future__ import annotations

import fcntl
import os
import re
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

import httpx
import uvicorn

from saltfare.faces.demo import demo_journal
from saltfare.faces.opening import House, opened, system_zone
from saltfare.faces.web.app import create_app

VOID = frozenset({"meta", "link", "input", "br", "hr", "img", "path", "rect", "line", "circle"})


@dataclass
class Node:
    """An element with its children and text."""

    tag: str
    attrs: dict[str, str]
    parent: Node | None = None
    children: list[Node | str] = field(default_factory=list)

    def all(self, *tags: str) -> Iterator[Node]:
        """Every element below, in order; of those tags where any are named."""
        for child in self.children:
            if isinstance(child, Node):
                if not tags or child.tag in tags:
                    yield child
                yield from child.all(*tags)

    @property
    def text(self) -> str:
        """All text below."""
        told = " ".join(c if isinstance(c, str) else c.text for c in self.children)
        return re.sub(r"[ \t\r\n]+", " ", told).strip()

    def texts(self) -> Iterator[str]:
        """Each piece of text below, scripts and styles left out."""
        for child in self.children:
            if isinstance(child, str):
                yield child
            elif child.tag not in ("script", "style"):
                yield from child.texts()


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = self.at = Node("", {})

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, {k: v or "" for k, v in attrs}, self.at)
        self.at.children.append(node)
        if tag not in VOID:
            self.at = node

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.at.children.append(Node(tag, {k: v or "" for k, v in attrs}, self.at))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        if self.at.tag != tag:
            raise AssertionError(f"</{tag}> closes <{self.at.tag}>")
        self.at = self.at.parent or self.root

    def handle_data(self, data: str) -> None:
        self.at.children.append(data)


def parsed(html: str) -> Node:
    """A page as a tree. A tag closed out of order fails."""
    builder = _Builder()
    builder.feed(html)
    builder.close()
    assert builder.at is builder.root, f"<{builder.at.tag}> is left open"
    return builder.root


@dataclass
class Site:
    """A running site."""

    url: str
    house: House
    client: httpx.Client

    def get(self, path: str, **more: Any) -> httpx.Response:
        """A page."""
        return self.client.get(path, **more)

    def page(self, path: str) -> Node:
        """A page that must be there, as a tree."""
        answer = self.get(path)
        assert answer.status_code == 200, f"{path}: {answer.status_code}"
        return parsed(answer.text)

    def send(self, page: Node, action: str, values: dict[str, str]) -> httpx.Response:
        """Fill in the form that posts to `action` on a page and send it, following the answer."""
        form = next(f for f in page.all("form") if f.attrs.get("action") == action)
        given = filled(page, form)
        unknown = set(values) - {n.attrs["name"] for n in controls(page, form) if "name" in n.attrs}
        assert not unknown, f"no controls {unknown} at {action}"
        return self.post(urljoin(self.url, action), given | values)

    def post(self, path: str, data: dict[str, str]) -> httpx.Response:
        """Send as our own page would, following the answer."""
        own = {"Origin": self.url}
        return self.client.post(path, data=data, headers=own, follow_redirects=True)


def controls(page: Node, form: Node) -> list[Node]:
    """The controls that belong to a form, those outside it that name it included."""
    own = list(form.all("input", "select", "textarea"))
    named = form.attrs.get("id")
    return own + [
        n
        for n in page.all("input", "select", "textarea")
        if named and n.attrs.get("form") == named and n not in own
    ]


def filled(page: Node, form: Node) -> dict[str, str]:
    """What a browser would send of a form as it stands."""
    out: dict[str, str] = {}
    for node in controls(page, form):
        name = node.attrs.get("name")
        if not name:
            continue
        if node.tag == "select":
            options = list(node.all("option"))
            chosen = [o for o in options if "selected" in o.attrs] or options[:1]
            out[name] = chosen[0].attrs["value"] if chosen else ""
        elif node.tag == "textarea":
            out[name] = node.text
        elif node.attrs.get("type") in ("checkbox", "radio"):
            if "checked" in node.attrs:
                out[name] = node.attrs.get("value", "on")
        else:
            out[name] = node.attrs.get("value", "")
    return out


def put_demo(directory: Path, *, base: Path, now: datetime) -> Path:
    """The demo of a moment, built by the first test of a run that asks for it and copied for every other.

    base: the run's folder for what is passing, as pytest gives it; of several workers, the one above it.
    """
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    built = shared / f"demo-{now:%Y%m%dT%H%M%S}"
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not built.exists():
            part = built.with_suffix(".part")
            part.mkdir()
            demo_journal(part, now, zone=system_zone())
            part.rename(built)
    shutil.copytree(built, directory, dirs_exist_ok=True)
    return demo_journal(directory, now, zone=system_zone())


@contextmanager
def running(
    directory: Path, *, demo: bool = False, clock: Callable[[], Any] | None = None, pseudo: bool = False
) -> Iterator[Site]:
    """The site on a free port of this machine."""
    more = {"clock": clock} if clock else {}
    with opened(demo=demo, directory=directory, **more) as house, socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        config = uvicorn.Config(
            create_app(house.context, pseudo=pseudo), log_level="critical", server_header=False
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        until = time.monotonic() + 20
        while not server.started:
            assert time.monotonic() < until, "the server does not start"
            time.sleep(0.02)
        url = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=url, timeout=60) as client:
            yield Site(url, house, client)
        server.should_exit = True
        thread.join(10)
