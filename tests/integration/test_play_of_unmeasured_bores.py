"""Where nobody measured the bore, the clinic may say how far a hole can have worn."""

import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.geometry.play import play, reach_mm
from tests.audits import fill, opened, quiet

CASES = (
    "case_id,surgery_date,jaw,guidance,sleeve_bore_mm,drill_diameter_mm,sleeve_length_mm,"
    "sleeve_to_entry_mm\n"
    "unmeasured,2025-03-04,lower,full,,2.0,10,2\n"
    "measured,2025-03-11,lower,full,2.2,2.0,10,2\n"
    "no drill,2025-03-18,lower,full,,,10,2\n"
)


def rows(folder, settings):
    audits.create_folder(folder)
    with (folder / "audit.toml").open("a", encoding="utf-8") as file:
        file.write(settings)
    fill(folder, {"cases.csv": CASES})
    commands.run(folder, "measured", commands.Wishes(), quiet)
    with opened(folder) as audit:
        return audit.run(
            "select play, bore_mm, tilt_deg, entry_reach_low_mm, entry_reach_high_mm, note"
            " from measured.play order by bore_mm nulls last"
        )


def test_without_a_figure_of_wear_nothing_is_assumed(tmp_path):
    _, (verdict, bore, tilt, *_rest, note) = rows(tmp_path / "audit", "")
    assert (verdict, bore, tilt) == ("not known", None, None)
    assert note == "bore, length of the hole or drill was not measured"


def test_with_one_the_play_is_a_range_from_none_to_what_the_wear_gives(tmp_path):
    found = rows(tmp_path / "audit", "\n[play]\nwear_mm = 0.15\n")
    measured, assumed = found
    verdict, bore, tilt, low, high, note = assumed
    # the same equation as for a bore of 2.0 + 0.15 mm; the lower end is no play at all
    at_most = play(2.15, 10, 2.0)
    assert (verdict, bore, low) == ("at most, by wear", None, 0.0)
    assert tilt == pytest.approx(float(at_most.tilt_deg))
    assert high == pytest.approx(float(reach_mm(at_most.tilt_deg, 10, 2)))
    assert "bore not measured: at most this" in note
    # a bore that was measured is taken as it is
    assert measured[0] == "play"
    assert measured[2] == pytest.approx(1.14, abs=0.005)
