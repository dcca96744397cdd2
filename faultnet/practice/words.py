"""What a learner is told, in words that the command line and the page share."""

from __future__ import annotations

from faultnet.case.types import Case
from faultnet.decision.costs import Costs
from faultnet.diagnosis.wording import entry_words, minutes_words
from faultnet.practice.play import Played
from faultnet.practice.review import Bill, Record, Review
from faultnet.prior_set.catalogue import Catalogue

KINDS = {"flooded": "ordinary", "enhanced_flooded": "enhanced flooded", "agm": "glass mat"}


def car_words(case: Case) -> str:
    """What label, papers and weather say.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Conditions, Visit
    >>> car_words(Case(Car(Battery(600.0, age=3.0)), (Visit((), Conditions(8.0)),)))
    'petrol, 1.6 l, 4 cylinders; battery 600 A EN, ordinary, 3 years; alternator 90 A; air 8 °C'
    """
    car, here = case.car, case.visits[-1].conditions
    battery = car.battery
    label = "label not readable" if battery.rating is None else f"{battery.rating:g} A {battery.standard}"
    age = "age not known" if battery.age is None else f"{battery.age:g} year{'s' * (battery.age != 1)}"
    words = [
        f"{car.fuel}, {car.displacement:g} l, {car.cylinders} cylinders",
        f"battery {label}, {KINDS[battery.kind]}, {age}",
        f"alternator {car.alternator_rating:g} A",
    ]
    words += ["charging voltage follows the load"] if car.charge_control == "load_responsive" else []
    words += [f"needs {car.needs_rating:g} A {car.needs_standard}"] if car.needs_rating is not None else []
    words += [f"air {here.air_temperature:g} °C"] if here.air_temperature is not None else []
    words += [f"stood {here.hours_standing:g} h"] if here.hours_standing is not None else []
    words += ["damp"] if here.damp else []
    return "; ".join(words)


def complaint_words(case: Case, catalogue: Catalogue) -> str:
    """What the driver says."""
    said = entry_words(catalogue, case.visits[0].entries[0])
    return f'"{case.complaint}" {said}' if case.complaint else said


def story_words(played: Played) -> list[str]:
    """Everything seen and done so far, in order."""
    lines = []
    for number, visit in enumerate(played.case.visits):
        lines += ["It came back with its fault."] if number else []
        lines += [entry_words(played.shop.catalogue, e) for e in visit.entries]
    return lines


def bill_words(minutes: float, cost: float, costs: Costs) -> str:
    """Time and money spent.

    Examples
    --------
    >>> from faultnet.decision import load_costs
    >>> bill_words(30.0, 180.0, load_costs())
    '30 min, cost 180'
    """
    time = minutes_words(minutes) if minutes else "0 min"
    return f"{time}, cost {cost:.0f} {costs.currency}".rstrip()


def fault_words(review: Review, catalogue: Catalogue) -> str:
    """What was at fault when the car came in."""
    words = []
    for component, mode in review.faults:
        part = catalogue.component(component)
        words.append(f"{part.label}: {next(m.label for m in part.modes if m.id == mode)}")
    return "; ".join(words) or "nothing"


def end_words(bill: Bill) -> str:
    """What became of the car."""
    words = [] if not bill.come_backs else [f"came back {bill.come_backs} time{'s' * (bill.come_backs > 1)}"]
    words += ["given away with a fault in it"] if bill.left_with_fault else []
    return ", ".join(words) or "repaired"


def belief_lines(review: Review, catalogue: Catalogue) -> list[str]:
    """Each belief stated, with what was so."""
    return [
        f"{catalogue.component(s.component).label}: you said {s.belief:g} %, and it was"
        f"{'' if s.was_at_fault else ' not'} at fault"
        for s in review.stated
    ]


def calibration_words(record: Record) -> str:
    """How the beliefs stated so far stood the test.

    Examples
    --------
    >>> from faultnet.practice.review import record_of
    >>> calibration_words(record_of([]))
    'No belief stated yet.'
    """
    if record.brier is None or record.calibration is None:
        return "No belief stated yet."
    many = f"{record.beliefs} belief{'s' * (record.beliefs > 1)}"
    few = " Too few yet to say much." if record.beliefs < ENOUGH else ""
    return (
        f"{many} stated: off by {100 * record.calibration:.0f} percentage points on the mean of their classes, "
        f"Brier score {record.brier:.3f} (0 is best; who always says 50 % has 0.25).{few}"
    )


ENOUGH = 20  # beliefs; estimate
