"""Every kind of doubt is told once with its advice, each message with the captures it is told of."""

from wattproof.errors import Notice
from wattproof.measure import CaptureResult
from wattproof.report import doubts_of, session_page


def result(file, *notices):
    return CaptureResult(file=file, kind="steady", warnings=notices)


def notice(code, message, hint="Do this."):
    return Notice(code=code, message=message, hint=hint)


RESULTS = (
    result("wren.wav", notice("few-cycles", "2 cycles."), notice("mains-lines", "50 Hz.", "Look for a loop.")),
    result("rook.wav", notice("few-cycles", "3 cycles."), notice("mains-lines", "60 Hz.", "Battery.")),
    result("teal.wav", notice("few-cycles", "2 cycles.")),
)


def test_doubts_are_gathered_by_code_and_advice_in_the_order_they_came():
    doubts = doubts_of(RESULTS)
    assert [(doubt.code, doubt.hint) for doubt in doubts] == [
        ("few-cycles", "Do this."),
        ("mains-lines", "Look for a loop."),
        ("mains-lines", "Battery."),
    ]
    assert [(told.message, told.places) for told in doubts[0].told] == [
        ("2 cycles.", ("wren.wav", "teal.wav")),
        ("3 cycles.", ("rook.wav",)),
    ]
    assert doubts[0].places == ("wren.wav", "teal.wav", "rook.wav")
    assert doubts_of([]) == ()


def test_the_page_tells_every_message_and_each_advice_once():
    page = session_page(RESULTS, bench=None, amplifier=None, title="Three birds")
    section = page.partition('<ul class="doubts">')[2].partition("</ul>")[0]
    assert section.count("<li>") == 3
    assert section.count("Do this.") == 1
    for words in ("2 cycles", "3 cycles", "50 Hz", "60 Hz", "wren.wav, teal.wav", "rook.wav", "Battery."):
        assert words in section.replace("\N{NO-BREAK SPACE}", " ")
