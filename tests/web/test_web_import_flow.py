"""The whole way in a real browser: files dropped, figures seen, a slider moved, a capture void, a report shown."""

import re

import pytest

from wattproof.sim import bench_day

TAGS = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"], "resultTypes": ["violations"]}
RAMPS = ("03-ramp-4-ohm.flac", "04-ramp-2-ohm.wav")
DROP = """async ([names, texts]) => {
  const transfer = new DataTransfer();
  for (const [n, name] of names.entries()) {
    const bytes = Uint8Array.from(atob(texts[n]), (letter) => letter.charCodeAt(0));
    transfer.items.add(new File([bytes], name));
  }
  for (const kind of ["dragenter", "dragover", "drop"])
    document.body.dispatchEvent(new DragEvent(kind, { dataTransfer: transfer, bubbles: true, cancelable: true }));
}"""


@pytest.fixture(scope="module")
def samples(tmp_path_factory):
    folder = tmp_path_factory.mktemp("flow")
    with pytest.MonkeyPatch.context() as patch:  # the steps that are needed, for each takes its time
        patch.setattr(bench_day, "STEPS", [step for step in bench_day.STEPS if step.file in RAMPS])
        bench_day.write_samples(folder)
    return folder


def told(axe, page):
    """Say what is wrong with a page for who cannot see it, and what it hides, on a desk and on a telephone."""
    wrong = []
    for width in (390, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        wrong += [
            (width, page.url, one["id"], one["nodes"][0]["html"])
            for one in axe.run(page, options=TAGS).response["violations"]
        ]
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            wrong.append((width, page.url, "wider than the screen", ""))
    return wrong


def test_files_become_a_session_whose_model_moves_and_whose_report_is_previewed(server, page_of, samples):
    from base64 import b64encode

    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    here, page, wrong = server(), page_of(1440), []
    page.set_default_timeout(60_000)
    page.goto(f"{here.address}/import")
    wrong += told(axe, page)
    papers = ("amplifier.toml", "bench.toml")
    page.evaluate(DROP, [papers, [b64encode((samples / name).read_bytes()).decode() for name in papers]])
    page.wait_for_url(re.compile(r"/import/\w"))
    page.set_input_files("#files", [samples / name for name in RAMPS])
    page.get_by_role("button", name="Add them").click()
    page.get_by_role("heading", name=RAMPS[1]).wait_for()
    for field, load in zip(page.get_by_label("Load in use").all(), ("4 ohm", "2 ohm"), strict=True):
        field.fill(load)
    page.reload()  # a crash, or a slip of the finger
    assert page.get_by_label("Load in use").first.input_value() == "4 ohm"
    wrong += told(axe, page)
    page.get_by_role("button", name="Keep and measure").click()

    page.wait_for_url("**/findings/*")
    session = page.url.rpartition("/")[2]
    assert page.get_by_role("rowheader", name="Power at 1 % distortion").count() >= 2
    wrong += told(axe, page)
    chart = page.locator("figure[data-chart]").first
    chart.scroll_into_view_if_needed()
    live = chart.locator(".live")
    live.wait_for()
    live.focus()
    page.keyboard.press("ArrowRight")
    assert re.search(r"\d", chart.locator(".reading").inner_text())

    power = page.locator("table.predicted tbody tr").first
    before = power.inner_text()
    page.get_by_label("Supply voltage, slider").focus()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    page.wait_for_function("(was) => document.querySelector('table.predicted tbody tr').innerText !== was", arg=before)
    assert page.get_by_role("textbox", name="Supply voltage").input_value() in page.url
    page.get_by_role("textbox", name="Load at each output").fill("0.1")
    page.get_by_text("The model says nothing here.").wait_for()

    page.get_by_text("It counts").first.click()
    page.get_by_label("What is wrong with it").first.fill("the clip lead came off")
    page.get_by_role("button", name="Mark as void").first.click()
    page.get_by_text("Void: the clip lead came off").wait_for()
    assert page.url.endswith(session)

    page.get_by_role("link", name="Publish").last.click()
    page.wait_for_url(f"**/publish/{session}")
    wrong += told(axe, page)
    page.get_by_role("button", name="Make the report").click()
    page.wait_for_url("**/publish/made/*")
    shown = page.frame_locator("iframe.preview")
    assert shown.get_by_role("heading", level=1).inner_text() == "Saltmarsh & Daughter Bittern 1"
    shown.locator("figure[data-chart]").first.scroll_into_view_if_needed()
    shown.locator("figure.turned").first.wait_for(state="attached")  # its own script runs, shut in
    wrong += told(axe, page)
    for address in ("/findings", "/publish"):
        page.goto(f"{here.address}{address}")
        wrong += told(axe, page)
    assert wrong == []
