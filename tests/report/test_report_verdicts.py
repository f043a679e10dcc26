"""Verdicts as sentences: units that people use, numbers rounded to their doubt, margins with theirs."""

from wattproof.judge import Judged, Judgement, Reading, Rule
from wattproof.quantity import Quantity
from wattproof.report import verdicts_text


def text_of(**more):
    told = {
        "rating": 0, "sense": "at least", "reading": Reading(words="as read"), "verdict": "falls short", "why": "",
        "probability": 0.0, "measured_name": "", **more,
    }  # fmt: skip
    one = Judgement.model_validate({**told, "margin": told["corrected"].value / told["claimed"] - 1})
    return verdicts_text(Judged(amplifier="Reed & Marten Otter 4", rule=Rule(), ratings=("x",), judgements=(one,)))


def test_a_power_has_its_margin_in_per_cent_and_decibels_with_their_doubt():
    measured, corrected = (Quantity(value=value, u=1.0, unit="W", k95=2.0) for value in (97.0, 99.0))
    text = text_of(
        quantity="power", claimed=110.0, unit="W", measured=measured, corrected=corrected, correction=0.0206,
        correction_share=0.003,
    )  # fmt: skip
    assert "measured: 97.0 ± 2.0 W" in text
    assert "at the rated conditions: 99.0 ± 2.0 W, carried by +2.1 %, which makes under 1 % of the variance" in text
    # 10 lg(99/110) = -0.4576 dB; ± 2/99 of 10/ln 10 = 0.088 dB
    assert "margin: -10.0 ± 1.8 % of the rating, -0.458 ± 0.088 dB" in text


def test_a_margin_above_the_rating_has_its_sign_too():
    found = Quantity(value=120.0, u=1.0, unit="W", k95=2.0)
    text = text_of(quantity="power", claimed=110.0, unit="W", measured=found, corrected=found, verdict="meets")
    # 120/110 = 1.0909, ± 2/110; 10 lg of it = 0.3779 dB, ± 2/120 of 10/ln 10 = 0.072 dB
    assert "margin: +9.1 ± 1.8 % of the rating, +0.378 ± 0.072 dB" in text


def test_signal_over_noise_is_said_in_decibels_of_a_noise_in_microvolts():
    noise = Quantity(value=137.5e-6, u=0.25e-6, unit="V", k95=2.0)
    ratio = Quantity(value=2 / 137.5e-6, u=2 / 137.5e-6 * 0.25 / 137.5, unit="V/V", k95=2.0)
    text = text_of(
        quantity="snr",
        claimed=10 ** (92 / 20),
        unit="V/V",
        measured=noise,
        measured_name="noise_rms_a",
        corrected=ratio,
    )
    assert "measured: Noise, A-weighted 137.50 ± 0.50 µV" in text
    assert "which makes: 83.255 ± 0.032 dB" in text  # 20 lg(2 V / 137.5 µV) = 83.2545
    assert "margin: -8.745 ± 0.032 dB\n" in text + "\n"
    assert "V/V" not in text


def test_efficiency_is_said_in_per_cent_and_a_large_margin_without_powers_of_ten():
    share = Quantity(value=0.85, u=0.0, unit="W/W")
    assert "measured: 85 %" in text_of(quantity="efficiency", claimed=0.8, unit="W/W", measured=share, corrected=share)
    typed = Quantity(value=6.3, u=0.0, unit="kg")
    assert "margin: +530 % of the rating" in text_of(
        quantity="mass", claimed=1.0, unit="kg", measured=typed, corrected=typed
    )
