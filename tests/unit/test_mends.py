"""What a mend does, when it counts, and when none does."""

from dataclasses import replace
from math import atan, degrees, hypot

import numpy as np
import pytest

from pipeline.checked.diagnoses import limits
from pipeline.checked.mending_words import mends
from pipeline.geometry.diagnosing import NONE, diagnose
from pipeline.geometry.mends import Mend, applied
from pipeline.geometry.plausible import Pairs, judged, lean_forward_deg

LIMITS = limits()

# One pair, upright on a ridge 3 mm behind the origin of the plan, and where it was found.
PLANNED = [
    [[8.0, 3.0, 0.5], [8.0, 3.0, -11.5]],
    [[-8.4, 3.3, 0.0], [-8.4, 3.3, -12.0]],
]
ACHIEVED = [
    [[8.6, 2.4, 0.1], [8.9, 1.9, -11.885872]],
    [[-7.9, 2.9, -0.6], [-7.5, 2.2, -12.572892]],
]


def pair(planned=PLANNED, achieved=ACHIEVED, *, label=12.0, placed=12.0, **more):
    arrays = {
        "planned": np.array([planned], float),
        "achieved": np.array([achieved], float),
        "planned_label_mm": np.full((1, 2), label),
        "placed_label_mm": np.full((1, 2), placed),
        "is_lower": np.array([True]),
        "is_one_frame": np.array([True]),
    }
    return Pairs(**(arrays | more))


def named(pairs):
    """The best mend and the others that do equally well, by name."""
    found = diagnose(pairs, LIMITS, mends())
    equal = [mends()[place].name for place in np.flatnonzero(found.also[0])]
    assert (equal[0] if equal else None) == (
        mends()[found.best[0]].name if found.best[0] != NONE else None
    )
    return equal


def with_fault(fault, pairs):
    """The pair as a clinic with that fault would have written it."""
    if fault.action == "scale":
        fault = replace(fault, detail=repr(1 / float(fault.detail)))
    return applied(fault, pairs)


def test_a_pair_as_it_should_be_breaks_no_limit_and_needs_no_mend():
    clean = judged(pair(), LIMITS)
    assert clean.is_plausible.all()
    # the plan is upright, so the angle is how far the apex stands aside over how deep
    assert clean.entry_mm[0] == pytest.approx(
        [hypot(0.6, 0.6, 0.4), hypot(0.5, 0.4, 0.6)]
    )
    assert clean.angle_deg[0] == pytest.approx(
        [
            degrees(atan(hypot(0.3, 0.5) / 11.985872)),
            degrees(atan(hypot(0.4, 0.7) / 11.972892)),
        ]
    )
    assert named(pair()) == []


@pytest.mark.parametrize(
    "fault",
    [
        Mend("ends", "achieved", "left"),
        Mend("ends", "achieved", "both"),
        Mend("ends", "planned", "right"),
        Mend("axes", "achieved"),
        Mend("mirror", "achieved", detail="z"),
        Mend("scale", "both", "both", "10"),
        Mend("scale", "both", "left", "10"),
        Mend("scale", "achieved", "both", "0.1"),
        Mend("scale", "both", "both", "25.4"),
        Mend("scale", "planned", "right", "0.03937007874015748"),
        Mend("scale", "both", "both", "1000"),
    ],
    ids=lambda fault: fault.name,
)
def test_what_was_done_to_the_points_is_named_alone(fault):
    assert named(with_fault(fault, pair())) == [fault.name]


def test_exchanged_labels_and_a_mirror_image_come_out_the_same_on_an_even_plan():
    """Nothing but the side itself tells them apart when left and right are planned alike."""
    even = [PLANNED[0], [[-8.0, 3.0, 0.5], [-8.0, 3.0, -11.5]]]
    swapped = pair(even, ACHIEVED[::-1])
    assert named(swapped) == ["achieved_sites", "achieved_mirror_x"]
    far_off_the_midline = pair(
        np.add(even, [30, 0, 0]).tolist(),
        np.add(ACHIEVED[::-1], [30, 0, 0]).tolist(),
    )
    assert named(far_off_the_midline) == ["achieved_sites"]


def test_another_axis_convention_of_both_files_is_told_from_labels_by_the_lean_alone():
    tilted = np.array([PLANNED, ACHIEVED])
    tilted[:, :, 1, 1] += 1.2  # apices backward: the implants lean forward
    lengths = np.linalg.norm(tilted[:, :, 1] - tilted[:, :, 0], axis=-1)
    turned = tilted * [-1, -1, 1]
    found = pair(turned[0], turned[1])
    found = replace(
        found, planned_label_mm=lengths[:1], placed_label_mm=lengths[1:].copy()
    )
    assert named(found) == ["both_axes", "both_sites", "both_mirror_x"]
    diagnosis = diagnose(found, LIMITS, mends())
    lean = {
        mends()[place].name: diagnosis.lean_forward_deg[0, place]
        for place in np.flatnonzero(diagnosis.also[0])
    }
    by_hand = lean_forward_deg(tilted[1:], np.array([True]))[0]
    assert lean["both_axes"] == pytest.approx(by_hand)
    assert lean["both_sites"] == pytest.approx(-by_hand)
    # how far the apex lies behind its entry over how far it lies below, left and right
    leans = degrees(atan(0.7 / 11.985872)), degrees(atan(0.5 / 11.972892))
    assert by_hand == pytest.approx(sum(leans) / 2)


def test_frames_that_do_not_meet_are_one_shift_and_only_where_nothing_else_fits():
    moved = np.add(ACHIEVED, [0.0, 42.0, -13.0]).tolist()
    assert named(pair(achieved=moved)) == ["achieved_shift"]


@pytest.mark.parametrize("far", [12.0, 20.0, 45.0])
def test_one_implant_far_off_is_no_shift_of_the_case(far):
    """A shift takes its three numbers from the case: it must not explain a real miss."""
    moved = np.array(ACHIEVED)
    moved[0] += [0.0, far, 0.0]
    assert named(pair(achieved=moved.tolist())) == []


def test_a_real_lean_of_forty_degrees_is_left_to_a_person():
    leaning = np.array(ACHIEVED)
    leaning[0, 1] = leaning[0, 0] + 12 * np.array([np.sin(0.7), 0, -np.cos(0.7)])
    assert judged(pair(achieved=leaning.tolist()), LIMITS).count_broken[0] == 1
    assert named(pair(achieved=leaning.tolist())) == []


def test_plan_and_result_exchanged_is_told_by_the_lengths_on_the_labels():
    shorter = np.array(ACHIEVED)
    axis = shorter[:, 1] - shorter[:, 0]
    shorter[:, 1] = shorter[:, 0] + axis * 10 / 12
    exchanged = pair(shorter.tolist(), PLANNED, label=12.0, placed=10.0)
    assert named(exchanged) == ["both_states"]


def test_without_labels_units_that_fit_are_all_named():
    """A pair in centimetres is 1.2 long; times 10 is an implant, times 25.4 just as well."""
    small = with_fault(Mend("scale", "both", "both", "10"), pair(label=np.nan))
    small = replace(small, placed_label_mm=np.full((1, 2), np.nan))
    assert named(small) == ["both_scale_both_10", "both_scale_both_25.4"]


def test_a_case_with_one_implant_is_mended_where_one_is_enough():
    alone = np.array(PLANNED), np.array(ACHIEVED)
    for state in alone:
        state[1] = np.nan
    fault = Mend("ends", "achieved", "left")
    exchanged = with_fault(fault, pair(*(state.tolist() for state in alone)))
    assert named(exchanged) == [fault.name]


def test_a_case_that_is_only_planned_is_judged_by_its_plan():
    nowhere = np.full((2, 2, 3), np.nan)
    exchanged = [[apex, entry] for entry, apex in PLANNED]
    assert judged(pair(PLANNED, nowhere), LIMITS).is_plausible.all()
    assert named(pair(exchanged, nowhere))[0] == "planned_ends_both"


def test_in_an_upper_jaw_the_apex_lies_above_the_entry():
    upper = np.array([PLANNED, ACHIEVED]) * [1, 1, -1]
    as_upper = pair(upper[0], upper[1], is_lower=np.array([False]))
    assert judged(as_upper, LIMITS).is_plausible.all()
    assert not judged(pair(upper[0], upper[1]), LIMITS).is_plausible.any()


def test_a_superimposition_named_the_wrong_way_round_is_undone():
    turn = np.radians(25)
    rotation = np.array(
        [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
    )
    shift = np.array([20.0, -35.0, 12.0])
    scan = (np.array(ACHIEVED) - shift) @ rotation  # plan = rotation @ scan + shift
    named_wrongly = rotation.T, -rotation.T @ shift
    moved = scan @ named_wrongly[0].T + named_wrongly[1]
    motion = {"rotation": named_wrongly[0][None], "shift": named_wrongly[1][None]}
    assert named(pair(achieved=moved.tolist(), **motion)) == ["achieved_inverse"]
    assert "achieved_inverse" not in named(pair(achieved=moved.tolist()))


def test_points_that_stand_in_a_scan_of_their_own_are_judged_by_their_lengths_alone():
    apart = pair(achieved=(np.array(ACHIEVED) * 10 + 500).tolist())
    apart = replace(apart, is_one_frame=np.array([False]))
    assert (
        judged(apart, LIMITS).count_broken == judged(apart, LIMITS).count_lengths_broken
    )


def test_no_case_at_all_is_no_error():
    none = pair().only(np.array([False]))
    assert diagnose(none, LIMITS, mends()).best.shape == (0,)
