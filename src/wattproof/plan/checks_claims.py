"""What a fuse says of a claim, which is a doubt and no verdict; ratings that no load of the bench can show."""

from collections.abc import Iterator

from wattproof.amplifier import FUSE_FOR_MINUTES, FuseDemand, Rating, driven_in, fuse_demand, power_ratings, power_words
from wattproof.plan.costs import Setting
from wattproof.plan.loads import minimum_load
from wattproof.plan.model import Check
from wattproof.plan.powers import matches


def claim_checks(setting: Setting) -> Iterator[Check]:
    """Look at every power claim against fuse, volts and efficiency, and at the loads that claims need."""
    amplifier, bench = setting.amplifier, setting.bench
    for rating in power_ratings(amplifier, bridged=setting.bridged):
        demand = fuse_demand(rating, amplifier, supply_v=setting.supply_v)
        if demand is not None:
            yield _fuse_claim(rating, setting, demand)
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


def _fuse_claim(rating: Rating, setting: Setting, demand: FuseDemand) -> Check:
    count = driven_in(rating, setting.amplifier)
    numbers = {
        "claimed_w": demand.claimed_w,
        "usual_w": demand.usual_w,
        "best_w": demand.best_w,
        "need_a": demand.need_a,
        "fuse_a": demand.fuse_a,
    }
    each = f" from {count} outputs" if count > 1 else ""
    said = (
        f"{power_words(rating)}{each}: a fuse of {demand.fuse_a:g} A at {demand.supply_v:g} V passes "
        f"{demand.through_w:.0f} W, which leaves {demand.usual_w:.0f} to {demand.best_w:.0f} W for the load"
    )
    if demand.claimed_w <= demand.best_w:
        return Check(code="claim-fuse", state="good", message=f"{said}.", numbers=numbers)
    long = "for minutes" if demand.times <= FUSE_FOR_MINUTES else "for seconds at most"
    return Check(
        code="claim-fuse", state="doubtful", numbers=numbers,
        message=f"{said}; the claim needs {demand.need_a:.0f} A or more, {demand.times:.2f} times the fuse, which "
        f"bears that {long}.",
        hint="This is a doubt and no verdict: a fuse carries more for a while. Only the measurement tells.",
    )  # fmt: skip
