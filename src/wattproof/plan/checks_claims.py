"""What a fuse says of a claim, which is a doubt and no verdict; ratings that no load of the bench can show."""

from collections.abc import Iterator

from wattproof.amplifier import Rating
from wattproof.plan.costs import Setting
from wattproof.plan.loads import minimum_load
from wattproof.plan.losses import efficiency_of
from wattproof.plan.model import Check
from wattproof.plan.powers import FUSE_FOR_MINUTES, matches, power_ratings

BEST_EFFICIENCY = 0.90
"""No amplifier fed from a vehicle's supply is reckoned better than this over all."""


def claim_checks(setting: Setting) -> Iterator[Check]:
    """Look at every power claim against fuse, volts and efficiency, and at the loads that claims need."""
    amplifier, bench = setting.amplifier, setting.bench
    for rating in power_ratings(amplifier, bridged=setting.bridged):
        if amplifier.fuse_a is not None:
            yield _fuse_claim(rating, setting, amplifier.fuse_a)
        if rating.load_ohm is not None and not any(matches(rating, load) for load in bench.loads):
            yield Check(
                code="rating-load", state="doubtful", numbers={"load_ohm": rating.load_ohm},
                message=f"{power_words(rating)} is rated into {rating.load_ohm:g} ohm, which the bench does not have.",
                hint="Add such a load to the bench; power into another load says little about this rating.",
            )  # fmt: skip
    if minimum_load(amplifier, bridged=setting.bridged) is None:
        yield Check(
            code="minimum-load", state="doubtful",
            message="Neither a lowest load nor a load of any rating is stated; loads under 4 ohm are left out.",
            hint="Write minimum_load_ohm in the amplifier file, or add --below-minimum.",
        )  # fmt: skip


def power_words(rating: Rating) -> str:
    """Write a rated power in words: ``520 W into 2 ohm``."""
    into = "" if rating.load_ohm is None else f" into {rating.load_ohm:g} ohm"
    bridged = " bridged" if rating.bridged else ""
    return f"{rating.value:g} {rating.unit}{into}{bridged}"


def driven_in(rating: Rating, setting: Setting) -> int:
    """Give how many outputs give this power at once, as stated; one where that is left open."""
    return min(rating.channels_driven or 1, len(setting.amplifier.outputs))


def _fuse_claim(rating: Rating, setting: Setting, fuse_a: float) -> Check:
    count, supply_v = driven_in(rating, setting), rating.supply_v or setting.supply_v
    through_w = fuse_a * supply_v
    usual_w, best_w = through_w * efficiency_of(setting.amplifier), through_w * BEST_EFFICIENCY
    claimed_w = count * rating.value_si
    need_a = claimed_w / BEST_EFFICIENCY / supply_v
    numbers = {"claimed_w": claimed_w, "usual_w": usual_w, "best_w": best_w, "need_a": need_a, "fuse_a": fuse_a}
    each = f" from {count} outputs" if count > 1 else ""
    said = (
        f"{power_words(rating)}{each}: a fuse of {fuse_a:g} A at {supply_v:g} V passes {through_w:.0f} W, "
        f"which leaves {usual_w:.0f} to {best_w:.0f} W for the load"
    )
    if claimed_w <= best_w:
        return Check(code="claim-fuse", state="good", message=f"{said}.", numbers=numbers)
    times = need_a / fuse_a
    long = "for minutes" if times <= FUSE_FOR_MINUTES else "for seconds at most"
    return Check(
        code="claim-fuse", state="doubtful", numbers=numbers,
        message=f"{said}; the claim needs {need_a:.0f} A or more, {times:.2f} times the fuse, which bears that {long}.",
        hint="This is a doubt and no verdict: a fuse carries more for a while. Only the measurement tells.",
    )  # fmt: skip
