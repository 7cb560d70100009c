"""The page in a real browser, at phone and desk size: what a person at the bench does."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.page.running import SAMPLES

#: Every page that stands by itself, with an address that shows it filled.
ADDRESSES = (
    "/",
    "/guide",
    "/box",
    "/bench",
    "/live",
    "/panel",
    "/stock",
    "/record",
    "/lookup?diameter=13.8&gauge=1.5mm",
    "/series?family=G",
    "/size?name=1/2-20+UNF",
    "/chart?series=G&series=NPT",
    "/mate?male=5/8-18+UNF&female=M16x1.5",
    "/adapt?part=1/8-27+NPT&port=M14x1.5",
    "/join?part=1/8-27+NPT&port=M18x1.5&service=coolant",
    "/size?name=nonsense",
)


def photograph(tab, name: str) -> None:
    tab.goto("/")
    tab.set_input_files("#photo", SAMPLES / f"{name}.jpg")
    tab.wait_for_url("**/answers/*")


def fits(tab) -> None:
    """Nothing runs out of the page sideways."""
    wide = tab.evaluate("document.documentElement.scrollWidth")
    assert wide <= tab.viewport_size["width"]


def test_one_tap_from_photo_to_answer(tab):
    photograph(tab, "p05-unf12-pin")
    # The truth of the sample: samples/p05-unf12-pin.json.
    expect(tab.locator("h1").first).to_contain_text("1/2-20 UNF")
    expect(tab.locator(".sure").first).to_contain_text("sure")
    expect(tab.locator(".next").first).to_contain_text("37 degree cone")
    figures = tab.inner_text(".read")
    assert re.search(r"12\.\d+ ± 0\.\d+ mm", figures)
    assert re.search(r"0\.4\d+ ± 0\.\d+ in", figures)
    fits(tab)
    # The photo, its drawing and every plot are there.
    expect(tab.locator("#drawn path.o-outline")).to_have_count(1)
    assert tab.locator("#drawn circle.o-crest").count() > 10
    plots = tab.locator(".plot img")
    assert plots.count() == 3
    for i in range(3):
        plots.nth(i).scroll_into_view_if_needed()
        plots.nth(i).evaluate("e => e.decode()")


def test_looking_into_the_picture(tab):
    photograph(tab, "p05-unf12-pin")
    view = lambda: [float(v) for v in tab.get_attribute("#scene", "viewBox").split()]  # noqa: E731
    before = view()
    tab.click("#closer")
    assert view()[2] == pytest.approx(before[2] / 1.6, rel=1e-3)
    tab.focus("#scene")
    tab.keyboard.press("ArrowRight")
    assert view()[0] > before[0]
    tab.locator("#scene").hover()
    tab.mouse.wheel(0, -120)
    closer = view()
    assert closer[2] < before[2] / 1.6
    tab.mouse.down()
    tab.mouse.move(*[v + 30 for v in _middle(tab)])
    tab.mouse.up()
    assert view()[0] != closer[0]
    tab.click("#fit")
    assert view()[2] == 4032
    tab.click("#to-thread")
    assert view()[2] < 1500
    tab.click("#bare")
    assert not tab.is_visible("#drawn")


def _middle(tab):
    box = tab.locator("#scene").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_wrong_reference_is_changed_without_a_new_upload(tab):
    tab.goto("/")
    tab.fill("#ref-size", "9")
    tab.uncheck("#remember")
    sent = []
    tab.on("request", lambda r: sent.append(r.url) if "/photos" in r.url else None)
    tab.set_input_files("#photo", SAMPLES / "p05-unf12-pin.jpg")
    tab.wait_for_url("**/answers/*")
    first = tab.url
    assert "1/2-20 UNF" not in tab.inner_text("h1")
    if not tab.is_visible("#again-size"):
        tab.click("text=Change the reference")
    assert tab.input_value("#again-size") == "9"
    tab.fill("#again-size", "6")
    tab.click("button:has-text('Measure again')")
    tab.wait_for_url(lambda url: "/answers/" in url and url != first)
    expect(tab.locator("h1").first).to_contain_text("1/2-20 UNF")
    assert len(sent) == 1


def test_several_photos_are_of_one_part(tab):
    tab.goto("/")
    tab.uncheck("#remember")
    names = ("p05-unf12-pin", "p07-unf716-inked-pin")
    tab.set_input_files("#photo", [SAMPLES / f"{name}.jpg" for name in names])
    tab.wait_for_url("**/together?*")
    # Two parts, so the photos must not agree: samples/p05 and p07 are 1/2-20 and 7/16-20 UNF.
    expect(tab.locator(".warn").first).to_contain_text(
        "The photos name different threads: 1/2-20 UNF, 7/16-20 UNF"
    )
    rows = tab.inner_text("table.grid")
    assert "major diameter" in rows
    assert "do not agree" in rows
    fits(tab)


def test_without_a_script_the_form_still_measures(chromium, page):
    context = chromium.new_context(base_url=page.address, java_script_enabled=False)
    tab = context.new_page()
    tab.goto("/")
    tab.set_input_files("#photo", SAMPLES / "p05-unf12-pin.jpg")
    tab.click("noscript button")
    tab.wait_for_url("**/answers/*")
    expect(tab.locator("h1").first).to_contain_text("1/2-20 UNF")
    context.close()


def test_words_twice_as_large_do_not_lie_over_each_other(tab):
    tab.goto("/")
    tab.evaluate("document.documentElement.style.fontSize = '200%'")
    # Each place's words lie in its own box: by script, since their ends count in fractions.
    over = """[...document.querySelectorAll('.top nav li')].filter(e => {
        const words = document.createRange();
        words.selectNodeContents(e.firstElementChild);
        return words.getBoundingClientRect().width > e.getBoundingClientRect().width + 1;
    }).length"""
    assert tab.evaluate(over) == 0
    fits(tab)


def test_a_wrong_pair_is_told_as_the_command_tells_it(tab):
    """M10x1 starts in 1/8 NPT and binds after two turns: it does not 'go in'."""
    tab.goto("/mate?male=M10x1&female=1/8-27+NPT")
    expect(tab.locator(".name")).to_contain_text("No: it starts, then binds")


def test_paper_has_the_answer_and_not_the_buttons(tab):
    tab.goto("/mate?male=5/8-18+UNF&female=M16x1.5")
    tab.emulate_media(media="print")
    assert tab.is_visible(".result")
    assert not tab.is_visible("nav")
    assert not tab.is_visible("form")


def test_a_refused_photo_says_why_and_what_to_do(tab):
    photograph(tab, "p22-blurred")
    expect(tab.locator("h1").first).to_contain_text("No thread was named")
    expect(tab.locator(".said .warn").first).to_contain_text("blurred")
    expect(tab.locator(".said .warn").first).to_contain_text("focus")


def test_what_is_no_photo_is_refused_in_one_line(tab, tmp_path):
    tab.goto("/")
    liar = tmp_path / "photo.jpg"
    liar.write_text("<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>")
    tab.set_input_files("#photo", liar)
    tab.wait_for_selector("#wrong:not([hidden])")
    expect(tab.locator("#wrong").first).to_contain_text(
        "photo.jpg is not a photo that can be read."
    )
    assert in_view(tab, "#wrong")


def test_what_went_wrong_is_brought_into_view(tab):
    """Who has scrolled to the page's end does not look for it at the top."""
    tab.goto("/")
    tab.set_viewport_size({"width": 360, "height": 300})
    tab.evaluate("scrollTo(0, document.body.scrollHeight)")
    told = "import('/static/upload.js').then((page) => page.wrong('It is dark.', 'light it'))"
    tab.evaluate(told)
    expect(tab.locator("#wrong-do")).to_have_text("Light it")
    assert in_view(tab, "#wrong")


def in_view(tab, selector):
    """Say whether an element stands in the window, so that nobody has to look for it."""
    box = tab.locator(selector).first.bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= tab.viewport_size["height"]


def test_a_photo_of_several_that_did_not_come_in_is_told(tab, tmp_path):
    """Of two photos one is a note: the other's answer must not look like that of both."""
    tab.goto("/")
    tab.uncheck("#remember")
    note = tmp_path / "note.jpg"
    note.write_text("bring more glass")
    tab.set_input_files("#photo", [note, SAMPLES / "p05-unf12-pin.jpg"])
    tab.wait_for_selector("#wrong:not([hidden])")
    expect(tab.locator("#wrong-what")).to_have_text("note.jpg is not a photo that can be read.")
    tab.click("text=Show the other photo")
    tab.wait_for_url("**/answers/*")
    expect(tab.locator("h1").first).to_contain_text("1/2-20 UNF")


def test_only_what_has_a_size_asks_for_one(tab):
    tab.goto("/")
    for source, asked in (("pin", "Its diameter"), ("jaws", "Gap"), ("major", "over the crests")):
        tab.select_option("#ref-source", source)
        expect(tab.locator("label[for=ref-size]")).to_contain_text(asked)
        assert tab.is_visible("#ref-size")
    for source in ("card", "none"):
        tab.select_option("#ref-source", source)
        assert not tab.is_visible("#ref-size")
    # A size typed before is not sent with a card.
    assert tab.is_disabled("#ref-size")


def test_what_to_do_next_stands_before_the_candidates(tab):
    tab.goto("/")
    tab.fill("#ref-size", "8")
    tab.uncheck("#remember")
    tab.set_input_files("#photo", SAMPLES / "p05-unf12-pin.jpg")
    tab.wait_for_url("**/answers/*")
    tab.evaluate("scrollTo(0, 0)")
    expect(tab.locator(".next").first).to_contain_text("Measure the pin with a caliper: 8 or 6 mm?")
    assert in_view(tab, ".next")
    tab.goto("/")
    expect(tab.locator(".card").first).to_contain_text("1/2-20 UNF (89")


def test_many_threads_in_a_photo_are_listed_first(tab):
    tab.goto("/")
    tab.fill("#ref-size", "8")
    tab.uncheck("#remember")
    tab.set_input_files("#photo", SAMPLES / "p20-box-pin.jpg")
    tab.wait_for_url("**/answers/*")
    # The truth of the sample: samples/p20-box-pin.json.
    said = tab.locator("nav.found a")
    expect(said).to_have_count(5)
    said.filter(has_text="R 3/8").click()
    assert in_view(tab, "h2.name:has-text('R 3/8')")


def test_a_box_fills_its_table(tab):
    tab.goto("/box")
    tab.fill("#ref-size", "8")
    tab.click("text=Start the box")
    tab.wait_for_url("**/box/*")
    names = ("p13-npt12-pin", "p20-box-pin", "p23-cut", "p27-m18-short-pin")
    tab.set_input_files("#photos", [SAMPLES / f"{name}.jpg" for name in names])
    expect(tab.locator("#doing")).to_contain_text("All 4", timeout=60_000)
    table = tab.inner_text("#table table")
    assert table.index("p23") < table.index("p13"), "the doubtful come first"
    assert "1/2-14 NPT" in table
    assert "M18x1.5" in table
    rows = tab.locator("#table tbody tr").count()
    assert rows == 8, "five of them are in one photo"
    tab.reload()
    expect(tab.locator("#table tbody tr")).to_have_count(rows)
    for sheet in ("contact-sheet", "labels"):
        got = tab.request.get(f"{tab.url}/{sheet}.pdf")
        assert got.body().startswith(b"%PDF")
    tab.click("text=Correct one by hand")
    tab.fill("#c-name", "M16x1.5")
    tab.fill("#c-who", "bench 2")
    tab.fill("#c-why", "ring gauge")
    tab.click("text=Add to the record")
    expect(tab.locator("#table").first).to_contain_text("says bench 2: ring gauge")
    fits(tab)


def test_from_the_answer_to_the_port_and_the_adapter(tab):
    photograph(tab, "p05-unf12-pin")
    tab.click("text=Does it fit this port?")
    assert tab.input_value("#f-male") == "1/2-20 UNF"
    tab.fill("#f-female", "M14x1.5")
    tab.click("button:has-text('Does it seal?')")
    expect(tab.locator(".result .name").first).to_contain_text("No")
    tab.click("text=What joins them?")
    assert tab.input_value("#f-port") == "M14x1.5"
    expect(tab.locator(".result").first).to_contain_text("Caution")


def test_lookup_has_an_address_to_share(tab):
    tab.goto("/lookup")
    tab.fill("#f-diameter", "0.543in")
    tab.fill("#f-gauge", "1.5mm")
    tab.click("text=Name it")
    tab.wait_for_url("**/lookup?*")
    assert "diameter=0.543in" in tab.url
    expect(tab.locator(".result").first).to_contain_text("M14x1.5")
    tab.fill("#f-diameter", "banana")
    tab.click("text=Name it")
    expect(tab.locator(".warn").first).to_contain_text("not a length")


def test_work_sheet_and_its_paper(tab):
    tab.goto("/join")
    tab.fill("#f-part", "1/8-27 NPT")
    tab.fill("#f-port", "M18x1.5")
    tab.click("text=Plan it")
    tab.wait_for_url("**/join?*")
    expect(tab.locator(".result").first).to_contain_text("Local codes and licensed practice")
    paper = tab.request.get(tab.get_attribute("a:has-text('Work sheet (PDF')", "href"))
    assert paper.body().startswith(b"%PDF")
    tab.goto("/join?part=1/8-27+NPT&port=M18x1.5&service=brake")
    expect(tab.locator(".warn").first).to_contain_text("brake")


def test_keyboard_only(tab):
    tab.goto("/lookup")
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.textContent") == "To the content"
    tab.keyboard.press("Enter")
    for _ in range(20):
        if tab.evaluate("document.activeElement.id") == "f-diameter":
            break
        tab.keyboard.press("Tab")
    tab.keyboard.type("13.8")
    tab.keyboard.press("Tab")
    tab.keyboard.type("1.5mm")
    tab.keyboard.press("Enter")
    tab.wait_for_url("**/lookup?*")
    expect(tab.locator(".result").first).to_contain_text("M14x1.5")
    ring = tab.evaluate(
        "() => { const a = document.querySelector('.top nav a'); a.focus({focusVisible: true});"
        " return getComputedStyle(a).outlineWidth }"
    )
    assert ring == "3px"


def test_the_panel_lights_and_its_bar_is_kept(tab):
    tab.goto("/panel")
    tab.click("#light")
    assert tab.is_visible("#markers")
    tab.click("#dark")
    assert not tab.is_visible("#markers")
    tab.fill("#p-bar", "87.4")
    tab.click("text=Keep it for this bench")
    tab.wait_for_load_state()
    assert tab.input_value("#p-bar") == "87.4"
    tab.goto("/")
    assert (tab.input_value("#ref-source"), tab.input_value("#ref-size")) == ("sheet", "87.4")
    tab.request.post(
        "/reference",
        form={
            "token": tab.get_attribute("meta[name=token]", "content"),
            "source": "pin",
            "size": "6",
        },
    )


def test_the_accessibility_checker_finds_nothing(tab):
    """Checked by axe-core, which knows the rules of WCAG 2: the phone light, the desk dark."""
    tab.emulate_media(color_scheme="light" if tab.viewport_size["width"] < 500 else "dark")
    photograph(tab, "p05-unf12-pin")
    answers = tab.url
    checker = Axe()
    found = {}
    for address in (*ADDRESSES, answers):
        tab.goto(address)
        result = checker.run(tab)
        if result.violations_count:
            found[address] = [
                (v["id"], [n["target"] for n in v["nodes"]][:3])
                for v in result.response["violations"]
            ]
        fits(tab)
    assert found == {}


def test_targets_are_large_enough_for_gloves(tab):
    """48 px at least, of everything that is tapped and does not stand in running text."""
    photograph(tab, "p05-unf12-pin")
    for address in (*ADDRESSES, tab.url):
        tab.goto(address)
        small = tab.evaluate(
            """() => [...document.querySelectorAll(
                'a[href]:not(.skip), button, select, summary, input:not([type=hidden]):not(.file)')]
              .map(e => [e.type === 'checkbox' ? e.parentElement : e, e])
              .map(([box, e]) => [box.getBoundingClientRect(), e.outerHTML.slice(0, 80)])
              .filter(([r, _]) => r.width && (r.height < 47.5 || r.width < 47.5))
              .map(([r, html]) => [html, r.width, r.height])"""
        )
        assert small == [], address


def test_pages_are_light(tab):
    """Under 200 kB before pictures, and interactive within a second of the server's answer."""
    sizes = {}
    kinds = ("document", "script", "stylesheet")

    def weigh(response) -> None:
        if response.request.resource_type in kinds:
            sizes[response.url] = len(response.body())

    tab.on("response", weigh)
    for address in ("/", "/bench", "/live", "/record", "/lookup?diameter=13.8&gauge=1.5mm"):
        sizes.clear()
        tab.goto(address)
        tab.wait_for_load_state("networkidle")
        assert sum(sizes.values()) < 200_000, (address, sizes)
