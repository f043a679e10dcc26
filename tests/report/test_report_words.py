import pytest

from wattproof.report.words import FIGURES, figure_name, limit_percent

LISTED = [
    "fundamental_frequency",
    "load_voltage_rms",
    "load_voltage_fundamental",
    "load_current_rms",
    "load_power",
    "load_power_v2r",
    "apparent_power",
    "power_factor",
    "load_impedance",
    "load_resistance",
    "thd_f",
    "thd_r",
    "thd_n",
    "sinad",
    "noise_rms",
    "dc_offset",
    "crest_factor",
    "gain",
    "supply_voltage",
    "supply_voltage_min",
    "supply_current",
    "supply_power",
    "supply_ripple_rms",
    "efficiency",
    "heat",
    "source_resistance",
    "power_at_clip_onset",
    "burst_power",
    "burst_headroom",
    "sustained_power",
    "idle_current",
]
NUMBERED = [*(f"harmonic_{order}" for order in range(2, 11)), "power_at_thd_1", "power_at_thd_10", "power_at_thd_0_1"]


@pytest.mark.parametrize("name", LISTED)
def test_every_listed_figure_has_words_of_its_own(name):
    assert name in FIGURES
    assert FIGURES[name][0].isupper()
    assert "_" not in FIGURES[name]


@pytest.mark.parametrize("name", NUMBERED)
def test_numbered_figures_are_worded_with_their_number(name):
    assert "_" not in figure_name(name)
    assert figure_name(name) != name.replace("_", " ").capitalize()


def test_no_two_figures_sound_alike():
    said = [figure_name(name) for name in [*FIGURES, *NUMBERED]]
    assert len(set(said)) == len(said)


@pytest.mark.parametrize(
    ("name", "percent"),
    [("power_at_thd_1", 1.0), ("power_at_thd_0_1", 0.1), ("power_at_thd_0.5", 0.5), ("power_at_thd_3p5", 3.5)],
)
def test_a_limit_is_read_from_the_name(name, percent):
    assert limit_percent(name) == percent
    assert f"{percent:g} %" in figure_name(name)


def test_a_name_without_a_limit_has_none():
    assert limit_percent("power_at_clip_onset") is None
