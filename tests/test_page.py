"""The builder's page in a real browser, and as text."""

from __future__ import annotations

import base64
import io
import json
import re
from dataclasses import replace

import pytest

from models.machine import ALL_CASES
from solver.machine_file import parse_machine
from solver.plan.plan import build_plan
from solver.sheets.page import write_page
from solver.simulate import Simulation
from tests.browser import against_guidelines, open_browser
from tests.oracles.ring_builder import build_ring, rectangle
from tests.test_plan import on_every_surface

HOSTILE = "</script><script>document.title='broken'</script><b>&\"'"


@pytest.fixture(scope="module")
def plan():
    machine = parse_machine(build_ring(rectangle(4, 3), snug=True), "ring")
    return build_plan(replace(machine, title=HOSTILE))


@pytest.fixture(scope="module")
def page(plan, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "plan.html"
    path.write_text(write_page(plan), encoding="utf-8")
    return path.as_uri()


@pytest.fixture(scope="module")
def window():
    opened = open_browser()
    yield opened
    opened.quit()


@pytest.fixture
def browser(window):
    """The browser of this module, as good as new."""
    window.get("about:blank")
    clear = {"origin": "file://", "storageTypes": "all"}
    window.execute_cdp_cmd("Storage.clearDataForOrigin", clear)
    window.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    for log in ("browser", "performance"):
        window.get_log(log)
    return window


def resize(browser, width, height=900):
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def by(browser, name):
    return browser.find_element("id", name)


def shown(browser):
    """The layers that can be seen."""
    return [f for f in browser.find_elements("css selector", "figure.layer") if f.is_displayed()]


# ------------------------------------------------------------------ as text


@pytest.mark.parametrize("which", ["ring", "six"])
def test_it_is_html_by_the_book(plan, which):
    html5lib = pytest.importorskip("html5lib")
    text = write_page(plan if which == "ring" else build_plan(on_every_surface()))
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(text)
    assert "<title>" in text and "lang=" in text
    names = re.findall(r' id="([^"]+)"', text)
    assert len(names) == len(set(names))
    used = set(re.findall(r'href="#([^"]+)"', text))
    assert used <= set(names)


def test_titles_are_escaped_everywhere(plan):
    text = write_page(plan)
    assert "<script>document.title" not in text
    assert text.count("</script>") == 2


def test_it_names_no_other_place(plan):
    text = write_page(plan)
    addresses = set(re.findall(r"https?://[^\"' )]+", text))
    assert addresses == {"http://www.w3.org/2000/svg"}
    assert not re.search(r'(src|href)="(?!#)', text)


def test_the_data_holds_every_piece(plan):
    text = write_page(plan)
    found = re.search(r'id="plan-data">(.*?)</script>', text, re.S)
    data = json.loads(found[1])
    assert len(data["pieces"]) == len(plan.pieces)
    placed = [index for step in data["steps"] for index in step["pieces"]]
    assert sorted(placed) == list(range(len(plan.pieces)))


# ------------------------------------------------------------------ in the browser


def test_it_loads_in_silence_and_asks_nobody(page, browser):
    browser.get(page)
    assert browser.execute_script("return document.documentElement.dataset.loaded") == "yes"
    assert browser.title.endswith("build plan") and "broken" not in browser.title[:6]
    assert browser.get_log("browser") == []
    asked = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    places = [
        m["params"]["request"]["url"] for m in asked if m["method"] == "Network.requestWillBeSent"
    ]
    assert [p for p in places if not p.startswith(("file:", "data:"))] == []


def test_layers_step_by_slider_and_keys(page, plan, browser):
    from selenium.webdriver.common.keys import Keys

    browser.get(page)
    assert len(shown(browser)) == 1
    slider = by(browser, "layer-range")
    slider.send_keys(Keys.HOME)
    seen = []
    for _ in plan.layers:
        (figure,) = shown(browser)
        seen.append(figure.get_attribute("data-name"))
        slider.send_keys(Keys.ARROW_RIGHT)
    assert len(set(seen)) == len(plan.layers)
    assert not by(browser, "layer-on").is_enabled()
    by(browser, "layer-back").click()
    assert shown(browser)[0].get_attribute("data-name") == seen[-2]


def test_the_animation_follows_the_simulation(page, plan, browser):
    browser.get(page)
    machine = plan.machine
    simulation = Simulation(machine, ALL_CASES[0])
    simulation.run_to_rest(200)
    simulation.press()
    for half_tick in range(1, plan.trace.half_ticks + 1):
        simulation.step()
        by(browser, "one-on").click()
        said = [int(n) for n in re.findall(r"(\d+) (?=\w)", by(browser, "state").text)]
        moving = sum(simulation.is_moving(block) for block in range(len(machine.tape)))
        resting = {
            cell for i, cell in enumerate(simulation.block_at) if not simulation.is_moving(i)
        }
        on = sum(simulation.drivers[d].on for _, _, d in simulation.switches())
        wires = sum(wire.level > 0 for wire in simulation.wires)
        strokes = sum(ram.state in (1, 3) for ram in simulation.rams)
        opened = len(set(machine.tape) - resting)
        assert said[-5:] == [strokes, moving, opened, on, wires], half_tick
    assert simulation.at_rest() and moving == opened == 0
    assert by(browser, "scrub").get_attribute("value") == str(plan.trace.half_ticks)
    cursor = float(by(browser, "cursor").get_attribute("x1"))
    assert cursor == 250 + 12 * plan.trace.half_ticks


def test_playing_ends_at_rest(page, plan, browser):
    from selenium.webdriver.support.ui import Select, WebDriverWait

    browser.get(page)
    Select(by(browser, "speed")).select_by_value("33")
    by(browser, "play").click()
    WebDriverWait(browser, 30).until(lambda b: by(b, "play").text == "Play")
    assert by(browser, "scrub").get_attribute("value") == str(plan.trace.half_ticks)


def test_open_cells_are_drawn_on_the_surface(page, plan, browser):
    from selenium.webdriver.support.ui import WebDriverWait

    browser.get(page)
    half_tick = plan.openings[0].spans[0][0]
    script = "const s=document.getElementById('scrub');s.value=arguments[0];"
    browser.execute_script(script + "s.dispatchEvent(new Event('input'))", half_tick)
    (figure,) = shown(browser)
    browser.execute_script("arguments[0].scrollIntoView()", figure)
    WebDriverWait(browser, 10).until(lambda b: figure.find_elements("css selector", ".gap"))
    marks = figure.find_elements("css selector", ".gap")
    open_now = [o for o in plan.openings if any(a <= half_tick < b for a, b in o.spans)]
    assert len(marks) == sum(len(o.cells) for o in open_now) > 0


def test_the_check_list_survives_a_reload(page, browser):
    browser.get(page)
    boxes = browser.find_elements("css selector", "input.step")
    boxes[0].click()
    boxes[1].click()
    browser.get(page)
    ticked = [b.is_selected() for b in browser.find_elements("css selector", "input.step")]
    assert ticked == [True, True] + [False] * (len(ticked) - 2)
    by(browser, "forget").click()
    browser.get(page)
    assert not any(b.is_selected() for b in browser.find_elements("css selector", "input.step"))


def test_the_page_says_what_to_place_next_and_which_way(page, plan, browser):
    browser.get(page)
    ways = {"+x": "east", "-x": "west", "+y": "north", "-y": "south", "+z": "up", "-z": "down"}
    by(browser, "next-done").click()
    order = [piece for step in plan.steps for piece in step.pieces]
    for piece in order[:30]:
        said = by(browser, "next-what").text
        assert "({}, {}, {})".format(*piece.at) in said
        assert piece.kind.replace("_", " ") in said
        if piece.kind in ("grip_ram", "push_ram", "buffer"):
            assert ways[piece.face] in said
        assert browser.find_elements("css selector", "#near .ring")
        by(browser, "next-done").click()
    by(browser, "next-back").click()
    assert "({}, {}, {})".format(*order[29].at) in by(browser, "next-what").text
    done = [b.is_selected() for b in browser.find_elements("css selector", "input.step")]
    assert done[0] and done[1] and not done[-1]


def test_the_view_turns_slices_and_fades(page, browser):
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import Select

    browser.get(page)

    def picture():
        browser.execute_async_script(
            "requestAnimationFrame(()=>requestAnimationFrame(arguments[0]))"
        )
        return browser.execute_script("return document.getElementById('view').toDataURL()")

    pictures = [picture()]
    by(browser, "turn-left").click()
    pictures.append(picture())
    by(browser, "view").send_keys(Keys.ARROW_UP)
    pictures.append(picture())
    by(browser, "slice-from").send_keys(Keys.END)
    pictures.append(picture())
    by(browser, "slice-from").send_keys(Keys.HOME)
    Select(by(browser, "fade-unit")).select_by_visible_text("tape")
    pictures.append(picture())
    by(browser, "with-covers").click()
    pictures.append(picture())
    assert len(set(pictures)) == len(pictures)


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_nothing_sticks_out_sideways(page, browser, width):
    resize(browser, width)
    browser.get(page)
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    assert wide <= width


@pytest.mark.parametrize("width", [360, 1200])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing(page, browser, width, theme):
    resize(browser, width)
    browser.get(page)
    assert against_guidelines(browser, theme) == []


def test_without_script_all_drawings_stand_there(page, plan):
    browser = open_browser(script=False)
    try:
        browser.get(page)
        figures = browser.find_elements("css selector", "figure.layer")
        assert len(figures) == len(plan.layers)
        assert all(f.is_displayed() for f in figures)
        assert not by(browser, "play").is_displayed()
        text = browser.find_element("css selector", "body").text
        assert "Keep off" in text and "Building order" in text
    finally:
        browser.quit()


def test_reduced_motion_is_kept_to(page):
    browser = open_browser(motion=False)
    try:
        browser.get(page)
        assert by(browser, "speed").get_attribute("value") == "1000"
    finally:
        browser.quit()


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_print_has_one_sheet_a_layer(plan, browser, tmp_path, paper, size):
    pypdf = pytest.importorskip("pypdf")
    path = tmp_path / "plan.html"
    path.write_text(write_page(plan, paper), encoding="utf-8")
    browser.get(path.as_uri())
    options = {"printBackground": True, "preferCSSPageSize": True}
    data = browser.execute_cdp_cmd("Page.printToPDF", options)["data"]
    pages = pypdf.PdfReader(io.BytesIO(base64.b64decode(data))).pages
    texts = [page.extract_text() for page in pages]
    assert [round(float(v)) for v in pages[0].mediabox[2:]] == list(size)
    sheets = [text for text in texts if "Letters after the sign" in text]
    assert len(sheets) == len(plan.layers)
    for layer, text in zip(plan.layers, sheets, strict=True):
        assert f"= {layer.origin['xyz'.index('z')]})" in text
        assert "north" in text and "5 cells" in text and "revision" in text
    assert all(f"Page {n} of {len(texts)}" in t for n, t in enumerate(texts, start=1))
    assert "Must stroke" in "".join(texts)
