"""The set courses: each is the car it says, its trap is on the car, and who knows the fault has nothing to regret."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from faultnet.decision import load_costs
from faultnet.errors import CarError, FaultnetError
from faultnet.practice.cars import SEED, Ticket
from faultnet.practice.courses import ORDER, course, courses, read_course
from faultnet.practice.knowing import cheapest_way, play_knowing
from faultnet.practice.play import begun, moved, offers, repairs
from faultnet.practice.review import bill
from faultnet.prior_set import load_catalogue
from faultnet.simulation.workshop.job import Job, Shop
from faultnet.simulation.workshop.stepping import stream
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend
from faultnet.simulation.worlds import measure

SHOP = Shop(load_catalogue(), load_costs())
DRAWN = [Ticket(w, d, n) for w in ("matched", "independent") for d in ("easy", "medium", "hard") for n in range(3)]
EVERY = [*(Ticket(course=name) for name in ORDER), *DRAWN]


def job_of(name: str) -> Job:
    return begun(Ticket(course=name), SHOP).job


@cache
def usual(name: str, test: str, instrument: str | None = None) -> float:
    """Median of many readings on the car of a course as it comes."""
    vehicle = job_of(name).vehicle
    found = [measure(vehicle, test, instrument, stream((SEED, 0), f"{test} {k}")).value for k in range(15)]
    return float(np.median([value for value in found if value is not None]))


def test_there_are_ten_and_each_is_marked_as_invented() -> None:
    assert len(courses()) == len(ORDER) == 10
    assert len({c.title for c in courses().values()}) == len({c.number for c in courses().values()}) == 10
    with pytest.raises(FaultnetError, match="invented = true"):
        read_course("one", "number = 1")


def test_a_course_says_what_is_wrong_with_its_file() -> None:
    with pytest.raises(FaultnetError, match="unknown colour"):
        read_course("one", WHOLE + "\n[colour]\n")
    with pytest.raises(FaultnetError, match="a course cannot be read"):
        read_course("one", WHOLE.replace("[car]", "[cars]"))
    assert read_course("one", WHOLE).number == 3
    with pytest.raises(CarError, match="1 to 10"):
        course("11")


WHOLE = """invented = true
number = 3
title = "a"
topic = "b"
complaint = "c"
trap = "d"
lesson = "e"
[car]
[battery]
[conditions]"""


@pytest.mark.parametrize("name", ORDER)
def test_a_course_has_its_faults_and_its_title_does_not_give_them_away(name: str) -> None:
    found = course(name)
    assert dict(job_of(name).vehicle.faults) == dict(found.faults)
    words = {w for w in name.split("_") if len(w) > 4}
    assert not any(w in f"{found.title} {Ticket(course=name).words}".lower() for w in words - {"faults"})


def test_the_traps_are_on_the_cars() -> None:
    """Estimates of ours what counts as a trap, no source: what a meter shows as well, or what a rule of thumb says."""
    car = job_of("surface_charge").vehicle
    assert usual("surface_charge", "rest_voltage") > 12.55
    assert car.charge < 0.6
    slow, fast = (usual("slow_meter", "crank_minimum", i) for i in ("multimeter", "fast_meter"))
    assert slow > 9.6 > fast + 1.0
    assert usual("ground_under_load", "ground_path_drop") > 1.0
    assert usual("ground_under_load", "rest_voltage") > 12.5
    assert usual("module_offset", "module_offset_at_rest") < -0.4
    assert usual("module_offset", "module_crank_minimum") < usual("module_offset", "crank_minimum") - 0.3
    assert usual("intermittent_joint", "negative_joint_drop") < 0.06
    assert usual("load_responsive", "charge_idle_voltage") < 13.2 < usual("load_responsive", "charge_loaded_voltage")
    assert usual("two_faults", "positive_joint_drop") > 0.5
    assert usual("two_faults", "charge_loaded_voltage") < 13.0
    assert usual("sound_car", "crank_minimum") > 10.5
    assert usual("drain_and_sulphation", "key_off_current") > 0.1
    assert usual("drain_and_sulphation", "crank_minimum") < 9
    assert usual("diesel_in_the_cold", "cranking_speed") < 130.0


@pytest.mark.parametrize("ticket", EVERY, ids=lambda t: t.words)
def test_who_knows_has_no_regret_and_nobody_pays_less(ticket: Ticket) -> None:
    """Played as a learner plays, his cost is the least; whatever random players do costs as much or more."""
    knowing = play_knowing(ticket, SHOP).job
    played = begun(ticket, SHOP)
    for step in cheapest_way(played):
        played = moved(played, step, 100.0 if isinstance(step, Mend) else None)
    assert played.job.done
    assert not played.job.left_with_fault
    assert played.job.money - knowing.money == 0.0
    assert bill(played).wrong_parts == 0
    for seed in range(2):
        assert random_play(ticket, seed).money >= knowing.money


def random_play(ticket: Ticket, seed: int) -> Job:
    """Tests and repairs at random, more of what is at fault than of the rest, and the car given back now and then."""
    rng = np.random.default_rng(seed)
    played = begun(ticket, SHOP)
    while not played.job.done:
        what = rng.random()
        faults = [c for c, _ in played.job.vehicle.faults if c in repairs(played)]
        if what < 0.2 or played.job.steps > 12:
            played = moved(played, GiveBack())
        elif what < 0.6 and (tests := [o.test.id for o in offers(played)]):
            played = moved(played, Look(str(rng.choice(tests)), at_once=bool(rng.random() < 0.5)))
        else:
            part = str(rng.choice(faults if faults and rng.random() < 0.7 else list(repairs(played))))
            act = str(rng.choice([a.id for a in repairs(played)[part]]))
            played = moved(played, Mend(part, act), float(rng.integers(101)))
    return played.job
