"""A first start in a real browser: an amplifier typed and looked at, undo, a bench from the example, calibrated."""

import pytest

NAMED = "Gorse & Plover Sedge 2"


@pytest.fixture(scope="module")
def axe():
    return pytest.importorskip("axe_playwright_python.sync_playwright").Axe()


def sound(page, axe):
    """Assert that nobody is shut out of the page, and that nothing sticks out of it."""
    found = axe.run(page).response["violations"]
    assert [(one["id"], [node["target"] for node in one["nodes"]]) for one in found] == []
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0


def both_looks(page, axe):
    for look in ("light", "dark"):
        page.emulate_media(color_scheme=look)
        sound(page, axe)


def test_a_first_start_leads_to_a_calibrated_bench(server, page_of, axe):
    here, page = server(), page_of(1440)
    page.goto(here.address)
    assert page.locator("ol.first > li").count() == 3
    both_looks(page, axe)

    page.get_by_role("link", name="New amplifier").click()
    page.get_by_label("Maker").fill("Gorse & Plover")
    page.get_by_label("Model").fill("Sedge 2")
    page.locator("[name='ratings.0.value']").fill("1600")
    page.locator("[name='.0.fuse_a']").fill("30")
    page.locator("#look [data-code]").first.wait_for()
    assert "Not said: the load, the supply voltage, the distortion" in page.locator("[data-open='0']").inner_text()
    page.locator("[name='ratings.0.load_ohm']").fill("2")
    page.locator("[data-open='0']:not(:has-text('the load'))").wait_for()
    assert "V peak" in page.locator("#look").inner_text()
    page.get_by_role("button", name="Add a rating").click()
    assert page.locator("fieldset.row").count() == 2
    page.locator("[name='ratings.1.value']").fill("700")
    page.reload()  # nothing that was typed is lost, rows that were added neither
    assert page.locator("[name='ratings.1.value']").input_value() == "700"
    assert page.get_by_label("Maker").input_value() == "Gorse & Plover"
    page.locator("p.doings").get_by_role("button", name="Keep it").click()
    page.wait_for_url("**/amplifiers/gorse-plover-sedge-2")
    assert page.locator("[name='ratings.1.value']").input_value() == "700"
    both_looks(page, axe)

    page.locator("[name='ratings.0.value']").fill("900")
    page.locator("p.doings").get_by_role("button", name="Keep it").click()
    page.get_by_text("State 2 of 2 counts.").wait_for()
    page.get_by_role("button", name="Take the last change back").click()
    page.get_by_text("State 1 of 2 counts.").wait_for()
    assert page.locator("[name='ratings.0.value']").input_value() == "1600"

    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Bench").click()
    both_looks(page, axe)
    page.get_by_role("button", name="Take this example").click()
    page.wait_for_url("**/bench/boathouse-bench")
    for number, (reference, reading) in enumerate(
        [("-41.9", "-0.5"), ("0.1", "0"), ("21.1", "0.25"), ("42", "0.5")], 1
    ):
        page.get_by_label(f"Point {number}: the meter shows").fill(reference)
        page.get_by_label(f"Point {number}: the channel reads").fill(reading)
    page.get_by_role("button", name="Fit a line").click()
    page.locator(".fit svg").wait_for()
    both_looks(page, axe)
    page.get_by_role("button", name="Take it over into the bench").click()
    page.wait_for_url("**/bench/boathouse-bench#calibrate")
    assert page.locator("[name='channels.0.scale']").input_value() == "83.92"
    assert "calibrated on" in page.locator("#f-channel").inner_text()


def test_the_pages_fit_a_telephone(server, page_of, axe):
    here = server()
    here.app.state.desk.place.benches.keep_example()
    page = page_of(390, height=844)
    for path in ("/", "/amplifiers/new", "/bench", "/bench/new", "/bench/boathouse-bench"):
        page.goto(here.address + path)
        both_looks(page, axe)
