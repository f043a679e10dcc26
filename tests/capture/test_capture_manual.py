"""Parts worked by hand: a person is asked in words that say what, how much and what to beware of."""

import threading
from pathlib import Path

import pytest

from wattproof.bench import PartSettings, parse_bench
from wattproof.capture import make_load, make_meter, make_supply
from wattproof.errors import GuardTripError, RigError

BENCH = parse_bench(
    '[[loads]]\nname = "4 ohm"\nresistance_ohm = 4.03\ncontinuous_w = 1000\n'
    '[[loads]]\nname = "2 ohm"\nresistance_ohm = 2.01\n',
    file="bench",
)
BY_HAND = PartSettings()
HERE = Path()


class Person:
    """Does what is asked and notes it; may refuse from a certain wish on."""

    def __init__(self, *, number=0.0, refuses=""):
        self.asked, self._number, self._refuses = [], number, refuses

    def do(self, what, *, hint=""):
        self.asked.append((what, hint))
        if self._refuses and self._refuses in what:
            raise GuardTripError("The person would rather stop.")

    def number(self, what, *, unit):
        self.asked.append((what, unit))
        return self._number

    def choose(self, what, choices):
        raise AssertionError("nothing is chosen here")

    @property
    def words(self):
        return [what for what, _more in self.asked]


def supply_of(person):
    return make_supply(BY_HAND, operator=person, folder=HERE)


def test_the_supply_is_set_before_it_is_switched_on():
    person = Person()
    supply = supply_of(person)
    supply.on(14.4, limit_a=60.0)
    supply.alive()
    assert person.words == [
        "With its output off, set the supply to 14.40 V and its current limit to 60 A.",
        "Switch the output of the supply on.",
    ]
    assert "fuse near the source" in person.asked[0][1]
    supply.off()
    supply.off()
    supply.close()
    assert person.words[2:] == ["Switch the output of the supply off."]


def test_another_thread_does_not_wait_for_the_person():
    person = Person()
    supply = supply_of(person)
    supply.on(12.0, limit_a=None)
    tripping = threading.Thread(target=supply.off)
    tripping.start()
    tripping.join(2.0)
    assert len(person.words) == 2
    supply.off()  # the thread that conducts asks
    assert person.words[2:] == ["Switch the output of the supply off."]


def test_whoever_lets_go_of_the_supply_has_it_switched_off():
    person = Person()
    supply = supply_of(person)
    supply.on(12.0, limit_a=None)
    leaving = threading.Thread(target=supply.close)
    leaving.start()
    leaving.join(2.0)
    assert person.words[2:] == ["Switch the output of the supply off."]


def test_a_person_who_would_rather_stop_is_heard():
    person = Person(refuses="on.")
    supply = supply_of(person)
    with pytest.raises(GuardTripError):
        supply.on(14.4, limit_a=None)
    supply.off()  # it may have been switched on before the person said so
    assert person.words[-1] == "Switch the output of the supply off."


def test_switching_off_never_raises():
    person = Person(refuses="off.")
    supply = supply_of(person)
    supply.on(14.4, limit_a=None)
    supply.off()


def test_a_load_is_asked_for_by_name_with_its_cautions():
    person = Person()
    load = make_load(BY_HAND, BENCH, operator=person, folder=HERE)
    load.use(BENCH.load("4 ohm"))
    load.use(BENCH.load("4 ohm"))  # it is connected already
    load.use(BENCH.load("2 ohm"))
    load.use(None)
    load.use(None)
    load.close()
    assert person.words == [
        'Connect the load "4 ohm": 4.03 ohm, good for 1000 W.',
        'Connect the load "2 ohm": 2.01 ohm.',
        "Disconnect the load.",
    ]
    for _what, hint in person.asked:
        assert "drive is muted" in hint
        assert "supply off before you touch" in hint
        assert "bridged" in hint


def test_a_refused_load_is_not_taken_for_connected():
    person = Person(refuses='"2 ohm"')
    load = make_load(BY_HAND, BENCH, operator=person, folder=HERE)
    for _attempt in range(2):
        with pytest.raises(GuardTripError):
            load.use(BENCH.load("2 ohm"))
    assert len(person.words) == 2


@pytest.mark.parametrize(("quantity", "unit"), [("temperature", "°C"), ("supply_voltage", "V"), ("load_current", "A")])
def test_a_display_is_read_in_its_unit(quantity, unit):
    person = Person(number=31.5)
    settings = PartSettings(quantity=quantity, name="the handheld")
    meter = make_meter(settings, operator=person, folder=HERE)
    assert (meter.quantity, meter.read()) == (quantity, 31.5)
    assert person.asked == [(f"What does the handheld show as {quantity.replace('_', ' ')}?", unit)]
    meter.close()


def test_parts_worked_by_hand_are_good():
    parts = [
        supply_of(None),
        make_load(BY_HAND, BENCH, operator=None, folder=HERE),
        make_meter(PartSettings(quantity="temperature"), operator=None, folder=HERE),
    ]
    assert [(part.check().state, part.check().said) for part in parts] == [("good", "worked by hand")] * 3


def test_nobody_to_ask_is_told():
    for use in (
        lambda: supply_of(None).on(14.4, limit_a=None),
        lambda: make_load(BY_HAND, BENCH, operator=None, folder=HERE).use(BENCH.loads[0]),
        lambda: make_meter(PartSettings(quantity="temperature"), operator=None, folder=HERE).read(),
    ):
        with pytest.raises(RigError) as caught:
            use()
        assert "nobody is asked" in caught.value.message
        assert caught.value.hint
