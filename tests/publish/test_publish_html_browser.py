"""The page in a browser: accessible, silent, read off and zoomed by mouse and keys, and whole without its script."""

from contextlib import contextmanager

import pytest

from wattproof.publish.html import document_html

WIDTHS = (390, 1440)
SCHEMES = ("light", "dark")


@pytest.fixture(scope="module")
def address(whole_report, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(document_html(whole_report()), encoding="utf-8")
    return path.as_uri()


@contextmanager
def opened(browser, address, *, width=1440, height=900, **how):
    """A page on which every complaint and every request but for itself is kept in `page.faults`."""
    context = browser.new_context(viewport={"width": width, "height": height}, reduced_motion="reduce", **how)
    page = context.new_page()
    page.faults = []
    page.on("console", lambda message: page.faults.append(message.text))
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("request", lambda request: request.url.startswith(("file:", "data:")) or page.faults.append(request.url))
    page.goto(address)
    yield page
    context.close()


def turn_all(page):
    """Scroll every chart into sight and wait until it can be turned."""
    for figure in page.query_selector_all("figure[data-chart]"):
        figure.scroll_into_view_if_needed()
        page.wait_for_function("figure => figure.classList.contains('turned')", arg=figure)


def lines(page, name):
    """How each line of a live chart is drawn, the lines of one panel together."""
    return page.eval_on_selector_all(
        f"#{name} .live svg [class*='mark-line'] > path", "paths => paths.map(path => path.getAttribute('d'))"
    )


def point_at(page, name, across, down):
    box = page.locator(f"#{name} .live")
    box.scroll_into_view_if_needed()
    size = box.bounding_box()
    page.mouse.move(size["x"] + across * size["width"], size["y"] + down * size["height"])


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_everybody_can_use_it(browser, address, width, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with opened(browser, address, width=width, color_scheme=scheme) as page:
        turn_all(page)
        page.eval_on_selector_all("details", "all => all.forEach(one => one.open = true)")
        point_at(page, "chart-sag", 0.5, 0.3)
        page.wait_for_selector("#chart-sag .reading:not([hidden])")
        found = axe.run(page).response
        assert len(found["passes"]) > 20
        told = [(fault["id"], [node["html"][:120] for node in fault["nodes"]]) for fault in found["violations"]]
        assert told == []
        assert page.faults == []


@pytest.mark.parametrize(("width", "script"), [(360, True), (360, False), (1440, True)])
def test_nothing_reaches_over_the_pages_edge(browser, address, width, script):
    with opened(browser, address, width=width, java_script_enabled=script) as page:
        over = page.eval_on_selector_all(
            "body *:not(.skip, .scroll *, svg *)",
            "all => all.filter(one => one.getBoundingClientRect().right > innerWidth + 1).map(one => one.outerHTML)",
        )
        assert over == []
        assert page.locator("#chart-sag .wide svg").is_visible() is (width == 1440)
        assert page.locator("#chart-sag .narrow svg").is_visible() is (width == 360)


def test_pointing_shows_the_values_that_were_measured(browser, address):
    with opened(browser, address) as page:
        turn_all(page)
        assert page.locator("#chart-sag .reading").is_hidden()
        point_at(page, "chart-sag", 0.5, 0.3)
        page.wait_for_selector("#chart-sag .reading:not([hidden])")
        said = page.locator("#chart-sag .reading p").all_inner_texts()
        watts = float(said[0].removeprefix("Power in the load (W): "))
        volts = float(said[said.index("Supply voltage (V)") + 1].removeprefix("03-ramp.wav, 4 ohm: "))
        amps = float(said[said.index("Supply current (A)") + 1].removeprefix("03-ramp.wav, 4 ohm: "))
        assert amps == pytest.approx((12.0 + 1.2 * watts) / 14.4, rel=1e-3)  # four figures are told
        assert volts == pytest.approx(14.4 - 0.0125 * amps, rel=1e-3)
        page.mouse.move(2, 2)
        page.wait_for_selector("#chart-sag .reading", state="hidden")
        assert page.faults == []


def test_zooming_moves_every_panel_and_can_be_undone(browser, address):
    with opened(browser, address) as page:
        turn_all(page)
        whole = lines(page, "chart-sag")
        assert len(whole) == 4  # two ramps in each of two panels
        page.locator("#chart-sag").get_by_role("button", name="Zoom in").click()
        page.wait_for_function(
            "was => document.querySelector('#chart-sag .live svg [class*=mark-line] > path').getAttribute('d') !== was",
            arg=whole[0],
        )
        closer = lines(page, "chart-sag")
        assert all(was != now for was, now in zip(whole, closer, strict=True))
        point_at(page, "chart-sag", 0.5, 0.3)
        page.mouse.down()
        page.mouse.move(500, 300, steps=3)
        page.mouse.up()
        page.wait_for_timeout(100)
        moved = lines(page, "chart-sag")
        assert all(was != now for was, now in zip(closer, moved, strict=True))
        page.locator("#chart-sag").get_by_role("button", name="Show all").click()
        page.wait_for_timeout(100)
        assert lines(page, "chart-sag") == whole
        assert page.faults == []


def test_the_wheel_scrolls_the_page_and_zooms_with_the_key_for_it(browser, address):
    with opened(browser, address) as page:
        turn_all(page)
        point_at(page, "chart-sag", 0.5, 0.3)
        whole, top = lines(page, "chart-sag"), page.evaluate("scrollY")
        page.mouse.wheel(0, -120)
        page.wait_for_function("was => scrollY < was", arg=top)
        assert lines(page, "chart-sag") == whole
        point_at(page, "chart-sag", 0.5, 0.3)
        top = page.evaluate("scrollY")
        page.keyboard.down("Control")
        page.mouse.wheel(0, -120)
        page.keyboard.up("Control")
        page.wait_for_timeout(150)
        assert page.evaluate("scrollY") == top
        assert lines(page, "chart-sag") != whole


def test_keys_do_what_the_mouse_does(browser, address):
    with opened(browser, address) as page:
        turn_all(page)
        box = page.locator("#chart-distortion .live")
        whole = lines(page, "chart-distortion")
        box.focus()
        said = []
        for _ in range(2):
            page.keyboard.press("ArrowRight")
            said.append(page.locator("#chart-distortion .reading p").all_inner_texts())
        first, second = (float(one[0].rpartition(" ")[2]) for one in said)
        assert first == pytest.approx(0.4**2 / 4.0, rel=1e-4)  # the ramp's first point
        assert second > first
        page.keyboard.press("+")
        page.wait_for_timeout(100)
        assert lines(page, "chart-distortion") != whole
        page.keyboard.press("0")
        page.wait_for_timeout(100)
        assert lines(page, "chart-distortion") == whole


def test_a_link_into_an_appendix_opens_it(browser, address):
    with opened(browser, address) as page:
        details = page.locator("#captures details")
        assert details.get_attribute("open") is None
        page.get_by_role("link", name="04-ramp.wav").click()
        page.wait_for_selector("#captures details[open]")
        assert page.locator("#capture-4").is_visible()
        assert page.evaluate("document.querySelector(':target').id") == "capture-4"
        colours = [
            page.locator(f"#capture-{n} td").evaluate("td => getComputedStyle(td).backgroundColor") for n in (3, 4)
        ]
        assert colours[0] != colours[1]


def test_it_is_whole_without_its_script(browser, address):
    with opened(browser, address, java_script_enabled=False) as page:
        assert page.locator("#chart-sag .wide svg").is_visible()
        assert page.locator("#chart-sag .narrow svg").is_hidden()
        assert page.locator("button").count() == 0
        page.locator("#captures summary").click()
        assert page.locator("#capture-4").is_visible()


def test_the_pictures_stay_where_the_engine_fails(browser, whole_report, tmp_path):
    path = tmp_path / "broken.html"
    html = document_html(whole_report())
    path.write_text(html.replace("window.vegaEmbed", "window.nothing"), encoding="utf-8")
    with opened(browser, path.as_uri()) as page:
        page.locator("#chart-sag").scroll_into_view_if_needed()
        page.wait_for_timeout(300)
        assert page.faults  # the policy stops a script that is not ours, and the chart's own warning follows
        assert page.locator("#chart-sag .wide svg").is_visible()
        assert page.locator(".live").count() == 0


def test_paper_gets_the_pictures_and_the_appendices(browser, address):
    with opened(browser, address) as page:
        turn_all(page)
        page.emulate_media(media="print")
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        assert page.locator("#chart-sag .wide svg").is_visible()
        assert page.locator("#chart-sag .live").is_hidden()
        assert page.locator("#capture-3").is_visible()
        page.evaluate("dispatchEvent(new Event('afterprint'))")
        assert page.locator("details[open]").count() == 0


def test_strangers_words_run_nothing(browser, whole_report, tmp_path):
    nasty = '"><img src=x onerror="hit=1"><script>hit=1</script>'
    path = tmp_path / "attacked.html"
    path.write_text(document_html(whole_report(lambda text: text + nasty)), encoding="utf-8")
    with opened(browser, path.as_uri()) as page:
        turn_all(page)
        point_at(page, "chart-sag", 0.5, 0.3)
        page.wait_for_selector("#chart-sag .reading:not([hidden])")
        assert page.evaluate("typeof hit") == "undefined"
        assert page.locator("img").count() == 1
        assert page.faults == []
