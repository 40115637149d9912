"""The pages in a browser, phone and desk: accessibility by axe-core, the content policy, layout, script.

WCAG 2.2: 1.4.10 reflow at 320 px, 2.5.5 targets of 44 px for actions and 2.5.8 of 24 px for all,
4.1.3 status messages. axe-core 4.12 as the outside judge.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from page_site import Site, put_demo, running

from saltfare.actions import registry

CHROMIUM = Path("/usr/bin/chromium")
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"phone": (360, 740), "desk": (1280, 800)}
NOW = datetime(2026, 9, 20, 9, 30, tzinfo=UTC)
SHOTS = os.environ.get("SALTFARE_SHOTS")  # a folder to keep pictures in, to be looked at

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="no Chromium at /usr/bin/chromium"),
]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """The demo, on a fixed day."""
    folder = tmp_path_factory.mktemp("browser")
    put_demo(folder, base=tmp_path_factory.getbasetemp(), now=NOW)
    with running(folder, demo=True, clock=lambda: NOW) as running_site:
        yield running_site


@pytest.fixture(scope="module")
def paths(site: Site) -> list[str]:
    """A page of each kind, a refusal among them."""
    context = site.house.context()
    pieces = registry.run("pieces", context, {"forecasts": False}).pieces  # type: ignore[attr-defined]
    chamber = registry.run("chambers", context, {}).chambers[0].key  # type: ignore[attr-defined]
    by_state = {p.state: p.code for p in pieces}
    return [
        "/",
        "/pieces",
        *(f"/pieces/{code}" for code in by_state.values()),
        "/pieces/plan",
        "/pieces/plan?" + "&".join(f"{k}={v}" for k, v in PLAN.items()),
        "/pieces/plan?green_weight=1,250&green_weight_unit=g",
        "/tags",
        "/buying?packs=12&pack=80&pack_unit=g&cut=pork_loin&purpose=home_cold&salt_share=3&_dates=1"
        f"&chamber={chamber}",
        "/rub",
        f"/rub?like={by_state['in salt']}&green_weight=1.8&green_weight_unit=kg",
        "/chambers",
        f"/chambers/{chamber}?advice=1",
        "/sources",
        "/sources/saltfare_chosen",
        "/settings",
        "/help",
        "/nowhere",
    ]


PLAN = {
    "purpose": "home_cold",
    "cut": "pork_loin",
    "shape": "cylinder",
    "green_weight": "1.845",
    "green_weight_unit": "kg",
    "thickness": "85",
    "thickness_unit": "mm",
    "length": "300",
    "length_unit": "mm",
    "salt_share": "2.8",
    "salt_share_unit": "%25",
    "mix.name": "mix",
    "mix.nitrite": "6.25",
    "mix.nitrite_unit": "%25",
    "scale_step": "0.1",
    "scale_step_unit": "g",
    "salting_temperature": "3",
    "salting_temperature_unit": "C",
    "chamber_temperature": "12",
    "chamber_temperature_unit": "C",
    "chamber_humidity": "75",
    "chamber_humidity_unit": "%25",
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium as the system has it."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=str(CHROMIUM), args=ARGS)
        yield found
        found.close()


@pytest.fixture
def window(browser: Any, site: Site) -> Iterator[Any]:
    """Opens a page in a window of a size and theme; fails on what the console says or reaches out for."""
    contexts: list[Any] = []
    wrong: list[str] = []

    def open_at(size: str = "phone", scheme: str = "light", **more: Any) -> Any:
        width, height = SIZES[size]
        viewport = more.pop("viewport", {"width": width, "height": height})
        context = browser.new_context(
            viewport=viewport, color_scheme=scheme, has_touch=size == "phone", base_url=site.url, **more
        )
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda m: wrong.append(m.text) if _matters(m) else None)
        page.on("pageerror", lambda e: wrong.append(str(e)))
        page.on(
            "request", lambda r: wrong.append(r.url) if not r.url.startswith((site.url, "data:")) else None
        )
        return page

    yield open_at
    for context in contexts:
        context.close()
    assert not wrong, wrong


def _matters(message: Any) -> bool:
    # the console tells of every answer that is no success; a refusal and a missing page are meant here
    return message.type in ("error", "warning") and "Failed to load resource" not in message.text


# every size and every theme once; the other two pairs with all that takes long
@pytest.mark.parametrize(
    ("size", "scheme"),
    [
        ("phone", "light"),
        ("desk", "dark"),
        pytest.param("phone", "dark", marks=pytest.mark.deep),
        pytest.param("desk", "light", marks=pytest.mark.deep),
    ],
)
def test_axe_finds_nothing(window: Any, paths: list[str], size: str, scheme: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = window(size, scheme)
    found = []
    for path in paths:
        page.goto(path)
        for details in page.locator("details").all():
            details.evaluate("d => d.open = true")
        result = Axe().run(page)
        for violation in result.response["violations"]:
            nodes = "; ".join(node["html"][:140] for node in violation["nodes"][:3])
            found.append(f"{path}: {violation['id']}: {violation['help']}: {nodes}")
        if SHOTS:
            name = path.strip("/").partition("?")[0].replace("/", "_") or "bench"
            page.screenshot(path=f"{SHOTS}/{size}_{scheme}_{name}.png", full_page=True)
    assert not found, "\n".join(found)


def test_what_can_be_tapped_is_large_enough(window: Any, paths: list[str]) -> None:
    page = window("phone")
    small = []
    for path in paths:
        page.goto(path)
        boxes = page.evaluate(
            """() => [...document.querySelectorAll(
                'a, button, input:not([type=hidden]), select, summary, textarea')]
              .filter(e => e.checkVisibility() && !e.closest('.skip') && !e.classList.contains('skip'))
              .map(e => {
                const at = e.closest('label') || e, box = at.getBoundingClientRect();
                const act = e.matches('button, .button, nav a, select, summary, input, textarea');
                return [e.outerHTML.slice(0, 90), box.width, box.height, act];
              })"""
        )
        for html, width, height, act in boxes:
            least = 44 if act else 24
            if min(width, height) < least - 0.5:
                small.append(f"{path}: {width:.0f}x{height:.0f}: {html}")
    assert not small, "\n".join(small)


def test_bench_text_is_large_and_a_figure_to_weigh_out_larger(window: Any, site: Site) -> None:
    page = window("phone")
    page.goto("/")
    sizes = page.evaluate(
        """() => [...document.querySelectorAll('main p, main label, main button, main input')]
             .filter(e => e.checkVisibility()).map(e => parseFloat(getComputedStyle(e).fontSize))"""
    )
    assert sizes and min(sizes) >= 16
    assert page.evaluate("() => parseFloat(getComputedStyle(document.body).fontSize)") == 18
    page.goto("/pieces/plan?" + "&".join(f"{k}={v}" for k, v in PLAN.items()))
    weigh = page.locator(".weigh").first
    assert weigh.evaluate("e => parseFloat(getComputedStyle(e).fontSize)") == 40
    assert "tabular-nums" in weigh.evaluate("e => getComputedStyle(e).fontVariantNumeric")


def test_on_rub_day_the_grams_follow_the_weight_and_are_large(window: Any) -> None:
    page = window("phone")
    page.goto("/rub")
    page.locator("#green_weight").fill("1.8")
    page.locator("select[name=green_weight_unit]").select_option("kg")
    page.locator("#slip .weigh").first.wait_for()
    first = page.locator("#slip .weigh").nth(1).inner_text()
    assert page.locator("#slip .weigh").first.evaluate("e => parseFloat(getComputedStyle(e).fontSize)") == 40
    # within reach: the grams stand on the first two screens of a phone
    assert page.locator("#slip .weigh").nth(1).bounding_box()["y"] < 2 * SIZES["phone"][1]
    page.locator("#green_weight").fill("2.1")
    page.wait_for_function("was => document.querySelectorAll('#slip .weigh')[1].innerText !== was", arg=first)


def test_a_number_goes_along_when_its_unit_changes_and_that_is_said(window: Any) -> None:
    page = window("phone")
    page.goto("/pieces/plan")
    weight, unit = page.locator("#green_weight"), page.locator("select[name=green_weight_unit]")
    weight.fill("1845")
    unit.select_option("kg")
    page.locator("#green_weight-echo").get_by_text("Taken along from g to kg").wait_for()
    assert weight.input_value() == "1.845"
    assert "Taken along" in (page.locator("#status").text_content() or "")
    unit.select_option("g")
    page.wait_for_function("() => document.getElementById('green_weight').value === '1845'")
    # a weight that only makes sense in the other unit was typed for it
    weight.fill("1.845")
    unit.select_option("kg")
    page.locator("#green_weight-echo").get_by_text("Read as 1.845").wait_for()
    assert weight.input_value() == "1.845"


def test_an_answer_that_comes_late_does_not_undo_what_was_said_since(window: Any) -> None:
    page = window("phone")
    held = []

    def hold(route: Any) -> None:
        if not held and "unit=g" in route.request.url:
            held.append(route)
        else:
            route.continue_()

    page.route("**/understood?*", hold)
    page.goto("/pieces/plan")
    weight, unit = page.locator("#green_weight"), page.locator("select[name=green_weight_unit]")
    with page.expect_request("**/understood?*unit=g*"):
        weight.fill("1845")
    unit.select_option("kg")
    said = page.locator("#green_weight-echo").get_by_text("Taken along from g to kg")
    said.wait_for()
    with page.expect_response("**/understood?*unit=g*"):
        held[0].continue_()
    page.wait_for_timeout(400)  # more than the pause after typing
    assert said.is_visible()
    assert weight.input_value() == "1.845"


@pytest.mark.parametrize("width", [320, 360, 640, 1280])
def test_nothing_runs_over_the_edge(window: Any, paths: list[str], width: int) -> None:
    page = window("phone", viewport={"width": width, "height": 700})
    for path in paths:
        page.goto(path)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width, path


def test_the_chart_of_the_window_is_the_one_drawn(window: Any, paths: list[str]) -> None:
    hanging = next(p for p in paths if p.startswith("/pieces/") and "plan" not in p)
    for size, shown, hidden in (("phone", ".phone", ".desk"), ("desk", ".desk", ".phone")):
        page = window(size)
        page.goto(hanging)
        assert page.locator(f".loss {shown} svg").is_visible()
        assert not page.locator(f".loss {hidden} svg").is_visible()
    light, dark = (_colour_of_band(window("phone", scheme), hanging) for scheme in ("light", "dark"))
    assert light == "rgb(207, 224, 214)" and dark == "rgb(42, 68, 56)"


def _colour_of_band(page: Any, path: str) -> str:
    page.goto(path)
    found: str = page.locator(".loss .phone .band80_marks path").first.evaluate(
        "e => getComputedStyle(e).fill"
    )
    return found


def test_the_slip_fills_while_typing_and_says_so(window: Any) -> None:
    page = window("desk")
    page.goto("/pieces/plan")
    page.get_by_label("eaten at home").check()
    page.locator("#slip").get_by_text("Still open").wait_for()
    for name, value in PLAN.items():
        if name.endswith("_unit"):
            control = page.locator(f"select[name='{name}']")
            if control.count():
                control.select_option(value)
        elif name == "cut":
            page.locator("#cut").select_option(value)
        elif name == "shape":
            page.locator(f"input[name=shape][value={value}]").check()
        elif name != "purpose":
            page.locator(f"[id='{name}']").fill(value)
    page.locator("#slip .weigh").first.wait_for()
    assert "4.4" in page.locator("#slip .weigh").first.inner_text()
    assert page.locator("#status").inner_text() or page.locator("#status").text_content()
    assert page.url.endswith("/pieces/plan")  # nothing was left or recorded


def test_what_was_understood_stands_under_the_field(window: Any) -> None:
    page = window("phone")
    page.goto("/pieces/plan")
    page.locator("#green_weight").fill("5 lb 3 oz")
    page.locator("#green_weight-echo").get_by_text("2.353").wait_for()
    page.locator("#green_weight").fill("1,250")
    page.locator("#green_weight-echo").get_by_text("two ways").wait_for()


def test_a_half_filled_form_survives_reload_and_coming_back(window: Any) -> None:
    page = window("phone")
    page.goto("/pieces/plan")
    page.locator("#green_weight").fill("1.845")
    page.locator("#cut").select_option("pork_loin")
    page.reload()
    assert page.locator("#green_weight").input_value() == "1.845"
    assert page.locator("#cut").input_value() == "pork_loin"
    page.goto("/help")
    page.goto("/pieces/plan")
    assert page.locator("#green_weight").input_value() == "1.845"


def test_a_weigh_in_goes_through_the_browsers_own_form_post(window: Any, paths: list[str]) -> None:
    """The Origin of a real form post passes the guard (Referrer-Policy same-origin), script on and off."""
    hanging = next(p for p in paths if p.startswith("/pieces/") and "plan" not in p)
    for script in (True, False):
        page = window("phone", java_script_enabled=script)
        page.goto(hanging)
        page.get_by_label("Note").fill(f"looked at it, script {script}")
        page.get_by_role("button", name="Write it down").click()
        page.get_by_text(f"looked at it, script {script}").first.wait_for()
        assert "Note written" in page.content()


def test_errors_take_the_focus(window: Any, paths: list[str]) -> None:
    hanging = next(p for p in paths if p.startswith("/pieces/") and "plan" not in p)
    page = window("phone")
    page.goto(hanging)
    page.locator("#weigh-mass").fill("lots")
    page.get_by_role("button", name="Weighed").click()
    page.locator("#errors").wait_for()
    assert page.evaluate("() => document.activeElement.id") == "errors"
    page.locator("#errors a").first.click()
    assert page.evaluate("() => document.activeElement.id") == "weigh-mass" or page.url.endswith(
        "#weigh-mass"
    )


def test_everything_is_reached_by_keyboard_with_a_visible_focus(window: Any) -> None:
    page = window("desk")
    page.goto("/")
    seen = []
    for _ in range(8):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                """() => { const e = document.activeElement, s = getComputedStyle(e);
                     const text = e.textContent.trim().slice(0, 20);
                     return [text, parseFloat(s.outlineWidth), s.outlineStyle]; }"""
            )
        )
    assert seen[0][0] == "To the main part"
    assert all(width >= 2 and style != "none" for _, width, style in seen)


def test_paper_has_no_navigation_and_is_black_on_white(window: Any, paths: list[str]) -> None:
    hanging = next(p for p in paths if p.startswith("/pieces/") and "plan" not in p)
    page = window("desk", "dark")
    page.goto(hanging)
    page.emulate_media(media="print")
    assert not page.locator(".top").is_visible()
    assert (
        page.evaluate("() => getComputedStyle(document.documentElement).backgroundColor")
        == "rgb(255, 255, 255)"
    )
    assert page.evaluate("() => getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert page.locator(".on-paper code").inner_text() == hanging.rpartition("/")[2]
