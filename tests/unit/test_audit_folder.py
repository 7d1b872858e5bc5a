"""The audit folder: settings say what they can, mistakes get a sentence."""

import datetime

import pytest

from pipeline import audit as audits
from pipeline.errors import (
    Busy,
    FolderNotEmpty,
    NotAnAudit,
    SettingsError,
)


@pytest.fixture
def folder(tmp_path):
    return audits.create_folder(tmp_path / "a").folder


def write(folder, more):
    path = folder / "audit.toml"
    path.write_text(path.read_text(encoding="utf-8") + more, encoding="utf-8")
    return audits.open_folder(folder).settings()


def test_start_never_writes_over_anything(folder):
    with pytest.raises(FolderNotEmpty):
        audits.create_folder(folder)


def test_the_folder_and_its_parts_are_private(folder):
    for path in (folder, folder / "records", folder / "to_correct"):
        assert path.stat().st_mode & 0o777 == 0o700, path


def test_the_key_lies_outside_the_folder(folder):
    assert not audits.open_folder(folder).settings().key_file.is_relative_to(folder)


def test_another_folder_is_not_taken_for_an_audit(tmp_path):
    with pytest.raises(NotAnAudit, match=r"no audit\.toml"):
        audits.open_folder(tmp_path)


def test_a_cycle_picks_its_days(folder):
    settings = write(
        folder, '\n[[cycle]]\nname = "h1"\nfrom = 2026-01-01\nto = 2026-06-30\n'
    )
    assert settings.cycle("h1").last_day == datetime.date(2026, 6, 30)
    assert settings.cycle(None).name == "all cases"


def test_plan_rules_are_off_until_they_are_set(folder):
    rules = audits.open_folder(folder).settings().plan_rules
    assert (rules.site_rule_mm, rules.axis_rule) == (None, "")
    rules = write(
        folder, '\n[plan]\nsite_rule_mm = 8\naxis_rule = "surveyor"\n'
    ).plan_rules
    assert (rules.site_rule_mm, rules.axis_rule) == (8.0, "surveyor")


def test_what_is_pooled_is_the_sets_until_keys_are_chosen(folder):
    assert audits.open_folder(folder).settings().pool_keys == ()
    said = '\n[pool]\nkeys = ["dhaese2012_entry", "dhaese2012_entry"]\n'
    assert write(folder, said).pool_keys == ("dhaese2012_entry",)


def test_own_limits_have_defaults_and_each_may_be_set(folder):
    settings = audits.open_folder(folder).settings()
    assert settings.room.parameters() == {
        "later_diameter_mm": 4.0,
        "gap_mm": 3.0,
        "step_mm": 8.0,
        "distal_room_mm": 5.0,
        "widest_spacing_mm": 29.0,
        "slack_mm": 1.0,
    }
    assert settings.superimposing.parameters() == {
        "largest_entry_error_mm": 1.5,
        "largest_axis_error_deg": 3.0,
    }
    settings = write(
        folder, "\n[room]\nstep_mm = 7\n[superimposing]\nlargest_axis_error_deg = 5\n"
    )
    assert settings.room.step_mm == 7.0
    assert settings.superimposing.largest_axis_error_deg == 5.0


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("\n[room]\nstep = 8\n", "room.step, which is not a setting"),
        ("\n[room]\ngap_mm = 0\n", "room.gap_mm should be a number above 0"),
        ("\n[room]\ngap_mm = true\n", "room.gap_mm should be a number above 0"),
        (
            '\n[superimposing]\nlargest_entry_error_mm = "2"\n',
            "largest_entry_error_mm should be a number above 0",
        ),
        ("\n[surgery]\n", "surgery, which is not a setting"),
        (
            "\n[programme]\nacceptable_percent = 50\n",
            "should lie between programme.acceptable_percent and 100",
        ),
        ("\n[programme]\nplanned_cases = 7.5\n", "a whole number up to 200"),
        ("\n[programme]\nfalse_signal_percent = 100\n", "should be below 100"),
        ("\n[plan]\nsite_rule_mm = 80\n", "80; 3 to 25 is possible"),
        ('\n[plan]\nsite_rule_mm = "8"\n', "site_rule_mm should be a number"),
        ('\n[plan]\naxis_rule = "upright"\n', "which is no rule"),
        ('\n[pool]\nkeys = ["nobody_entry"]\n', "which is no published figure"),
        ('\n[pool]\nkeys = "dhaese2012_entry"\n', "pool.keys"),
        ("\n[plan]\nsite_mm = 8\n", "plan.site_mm, which is not a setting"),
        ('\n[[cycle]]\nname = "x"\n', "needs from and to"),
        (
            '\n[[cycle]]\nname = "x"\nfrom = 2026-02-01\nto = 2026-01-01\n',
            "ends before",
        ),
        (
            '\n[[cycle]]\nname = "x"\nfrom = "2026-02-01"\nto = 2026-03-01\n',
            "needs from",
        ),
        ("\nnot toml at all\n", "cannot be read"),
    ],
)
def test_a_wrong_setting_is_named(folder, more, said):
    with pytest.raises(SettingsError, match=said):
        write(folder, more)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("merge_sources = false", 'merge_sources = "no"', "true or false"),
        ("depth_margin_mm = 2.0", "depth_margin_mm = true", "a number"),
    ],
)
def test_a_setting_of_the_wrong_kind_is_named(folder, old, new, said):
    path = folder / "audit.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8"
    )
    with pytest.raises(SettingsError, match=said):
        audits.open_folder(folder).settings()


def test_an_unknown_cycle_names_the_known_ones(folder):
    with pytest.raises(SettingsError, match="none"):
        audits.open_folder(folder).settings().cycle("2030")


def test_a_second_command_is_told_who_is_at_work(folder):
    audit = audits.open_folder(folder)
    with (
        audits.locked(audit, "plumbpost run"),
        pytest.raises(Busy, match="plumbpost run, process"),
        audits.locked(audit, "plumbpost show"),
    ):
        pass
    with audits.locked(audit, "plumbpost run"):
        pass
