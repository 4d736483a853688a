"""A primer as a layer: its work and the window of the slurry over it, worked by hand."""

from dataclasses import replace

import numpy as np
import pytest

from cureplan.inputs.cards.reader import read_card
from cureplan.planning.floor.layers import (
    FloorAge,
    Layer,
    Work,
    film_reached,
    floor_layers,
    floor_tasks,
    primer_work,
    slab_age_curve,
    window_over,
)
from cureplan.science.clocks import topcoat_clocks

CARD = read_card("slab-primer")
PRIMER = Layer(kind="primer", crew="primer")
SLURRY = Layer(kind="slurry", crew="pour", opens="slurry_opens", closes="slurry_closes")


def everywhere(curve):
    """A floor that no sun falls on."""
    return FloorAge(lit=curve, shade=curve)


def worked(room, job, card=CARD):
    crew, pace = replace(job.crew, primer=2), replace(job.pace, primer_m2_s=0.06)
    return primer_work(room, card, crew=crew, pace=pace, layer=PRIMER, patches=5)


def test_the_work_of_a_primer_by_hand(plain_room, plain_job):
    # 45 m² at two times 0.06 m²/s is 375 s, after 3 min of mixing. 200 sq ft/gal over
    # 484.4 sq ft is 2.42 gal: two batches of 1.5 gal, each over 300 sq ft, 27.87 m²: 232.3 s.
    work = worked(plain_room, plain_job)
    assert work.duration_s == pytest.approx(180 + 375)
    assert work.batches == 2
    assert work.volume_m3 / 0.003785411784 == pytest.approx(2.422, abs=0.001)
    assert work.batch_s == pytest.approx(180 + 232.3, abs=0.1)
    assert work.offset_s.tolist() == pytest.approx([180, 255, 330, 405, 480])
    assert work.lead_s == 0


def test_grains_thrown_into_it_take_the_same_hands_longer(plain_room, plain_job):
    thrown = replace(CARD, broadcast_kg_m2=0.5)
    pace = plain_job.pace.broadcast_m2_s
    more_s = worked(plain_room, plain_job, thrown).duration_s
    assert more_s == pytest.approx(180 + 375 + 45 / (2 * pace))


def test_a_primer_is_the_first_task_and_the_slurry_waits_for_it(plain_room):
    tasks = floor_tasks(floor_layers(plain_room, primed=True))
    assert [task[-1].stage for task in tasks] == ["primer", "pour", "coat 1", "coat 2"]
    assert (tasks[1][-1].opens, tasks[1][-1].closes) == ("slurry_opens", "slurry_closes")
    bare = floor_tasks(floor_layers(plain_room, primed=False))
    assert (bare[0][-1].stage, bare[0][-1].opens) == ("pour", None)


@pytest.mark.parametrize(
    ("slab_c", "opens_s", "closes_s"),
    [
        # At the card's 21 °C patches rolled at 180 and 480 s are ready 3 h later, and
        # reached by the slurry 315 and 525 s after its start: the second waits longest,
        # 480 + 10800 - 525; the first is too old first, 180 + 86400 - 315.
        (21.0, 10755.0, 86265.0),
        # 10 K warmer runs 1.9585 times as fast: exp(50000/8.314462 (1/294.15 - 1/304.15));
        # 3 h are 5514.4 s, 24 h 44115 s.
        (31.0, 480 + 5514.4 - 525, 180 + 44115 - 315),
    ],
)
def test_the_window_of_the_slurry_by_hand(weather_of, epoch_s, slab_c, opens_s, closes_s):
    clocks = topcoat_clocks(CARD)
    curve = slab_age_curve(
        weather_of(slab_c),
        activation_energy_j_mol=clocks.fit.activation_energy_j_mol,
        reference_c=clocks.fit.reference_c,
    )
    start_s = epoch_s + 3600.0
    reached = film_reached(
        start_s + np.array([180.0, 480.0]),
        age_s=clocks.age_s,
        curve=everywhere(curve),
        wait=1.0,
        close=1.0,
    )
    pour = Work(
        layer=SLURRY, duration_s=1500.0, offset_s=np.array([315.0, 525.0]), batches=2,
        volume_m3=0.02, batch_s=400.0,
    )  # fmt: skip
    window = window_over(reached, pour)
    assert window.opens_s - start_s == pytest.approx(opens_s, abs=3.0)
    assert window.closes_s - start_s == pytest.approx(closes_s, abs=15.0)
