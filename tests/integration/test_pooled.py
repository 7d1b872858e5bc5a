"""Several centres as one audit: the same figures from rows, from totals, from both."""

import shutil

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from pipeline import audit as audits
from pipeline import commands
from pipeline.reference import load
from pipeline.sharing.pooling import pool
from pipeline.sharing.taking_out import take_out
from pipeline.sharing.totals import Line, large_enough, take_totals
from pipeline.statistics.aggregates import Sums
from tests.audits import COORDINATES, audit_of, opened, quiet

CENTRES = (("harbour", 9, 0.5), ("meadow", 12, 0.8), ("orchard", 15, 1.1))
"""Invented centres: name, patients, size of an error in mm."""

CRITERION = (
    "criterion,measure,limit,target_percent,group_by,group_value,exceptions,"
    "signed_by,signed_date\n"
    "Entry within 1.5 mm,entry_3d_mm,1.5,80,,,,quality lead,2026-01-05\n"
)


def sheets(name, n, size):
    """Return the sheets of one centre; every third patient has one implant alone."""
    dice = np.random.default_rng(list(map(ord, name)))
    lines = [f"case_id,side,{','.join(COORDINATES)},achieved_frame,achieved_source"]
    cases = ["case_id,surgery_date,operator_level,guide_method,guidance,guide_support"]
    for i in range(n):
        day = np.datetime64("2024-01-08") + int(dice.integers(400))
        method = "printed,full,mucosa" if i % 4 else "surveyor,pilot,mucosa"
        cases.append(f"{name}-{i},{day},resident,{method}")
        common = dice.normal(0, size / 2, 3)
        for side, sign in (("left", 1), ("right", -1))[: 1 if i % 3 == 0 else 2]:
            plan = np.array([sign * 9, -30, 0, sign * 9, -30, -10.0])
            plan += np.tile(dice.normal(0, 0.7, 3), 2)
            move = np.concatenate([dice.normal(0, size, 3), dice.normal(0, size, 3)])
            points = [*plan, *(plan + move + np.tile(common, 2))]
            written = ",".join(f"{p:.4f}" for p in points)
            lines.append(f"{name}-{i},{side},{written},plan,cbct")
    return {"implants.csv": "\n".join(lines), "cases.csv": "\n".join(cases)}


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Three centres' audits and exports, and two audits pooled of them."""
    place = tmp_path_factory.mktemp("pooled")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(place / "keys"))
        for name, n, size in CENTRES:
            folder = place / name
            audits.create_folder(folder)
            (folder / "criteria.csv").write_text(CRITERION, encoding="utf-8")
            for file, text in sheets(name, n, size).items():
                (folder / "records" / file).write_text(text, encoding="utf-8")
            commands.run(folder, "summarised", commands.Wishes(), quiet)
            audit = audits.open_folder(folder)
            take_out(audit, audit.settings(), place / f"{name}_rows", k=5, relink=None)
            take_totals(audit, audit.settings(), place / f"{name}_totals", k=5)
        rows = [place / f"{name}_rows" for name, _, _ in CENTRES]
        mixed = [*rows[:2], place / "orchard_totals"]
        for pooled, sources in (("of_rows", rows), ("mixed", mixed)):
            pool(place / pooled, sources)
            (place / pooled / "criteria.csv").write_text(CRITERION, encoding="utf-8")
            commands.run(place / pooled, "reported", commands.Wishes(), quiet)
        yield place


def frame(folder, select):
    with opened(folder) as audit:
        return audit.frame(select)


def one_sample(folder):
    select = """select * from summarised.centres_pooled
        where method = 'one sample' order by measure, group_by, group_value"""
    return frame(folder, select).set_index(["measure", "group_by", "group_value"])


SAME = ["mean", "sd", "mean_low", "mean_high", "icc", "icc_low", "icc_high"]


def test_the_pooled_mean_is_that_of_the_values_of_all_centres(place):
    values = np.concatenate(
        [
            frame(
                place / name,
                "select entry_3d_mm from summarised.implant_values"
                " where entry_3d_mm is not null",
            )["entry_3d_mm"]
            for name, _, _ in CENTRES
        ]
    )
    pooled = one_sample(place / "of_rows").loc["entry_3d_mm", "overall", "all"]
    assert pooled["n_implants"] == len(values)
    assert pooled["mean"] == pytest.approx(values.mean(), rel=1e-12)
    assert pooled["sd"] == pytest.approx(values.std(ddof=1), rel=1e-12)


def test_sums_give_every_mean_interval_spread_and_correlation_of_the_rows(place):
    # two routes to one number: summarised.accuracy reads the rows themselves
    pooled = one_sample(place / "of_rows")
    accuracy = frame(place / "of_rows", "select * from summarised.accuracy").set_index(
        ["measure", "group_by", "group_value"]
    )
    both = pooled.index.intersection(accuracy.index)
    assert len(both) > 100
    for name in [*SAME, "design_effect"]:
        np.testing.assert_allclose(
            pooled.loc[both, name].astype(float),
            accuracy.loc[both, name].astype(float),
            rtol=1e-12,
            atol=1e-12,
            err_msg=name,
        )


def test_a_centre_that_gives_totals_alone_changes_nothing_overall(place):
    # each class of orchard has five patients or more, so its totals leave nobody out
    rows, mixed = one_sample(place / "of_rows"), one_sample(place / "mixed")
    overall = [key for key in mixed.index if key[1] == "overall"]
    told = frame(
        place / "mixed",
        "select distinct content, is_short from summarised.centres"
        " where group_by = 'overall' and measure = 'entry_3d_mm' order by all",
    )
    assert told.values.tolist() == [["rows", False], ["totals", False]]
    assert len(overall) > 10
    for name in [*SAME, "median", "p90"]:
        np.testing.assert_allclose(
            mixed.loc[overall, name].astype(float),
            rows.loc[overall, name].astype(float),
            rtol=1e-12,
            atol=1e-12,
            err_msg=name,
        )


def test_the_median_from_bins_is_within_a_bin_of_that_of_the_rows(place):
    pooled = one_sample(place / "mixed")
    accuracy = frame(
        place / "of_rows",
        "select * from summarised.accuracy where group_by = 'overall'",
    ).set_index("measure")
    widths = {r["measure"]: float(r["bin_width"]) for r in load.rows("totals_measures")}
    for measure in accuracy.index:
        found = pooled.loc[measure, "overall", "all"]
        assert found["median"] == pytest.approx(
            accuracy.loc[measure, "median"], abs=widths[measure]
        )


def test_the_share_within_a_criterion_is_that_of_the_rows(place):
    criterion = frame(place / "of_rows", "select * from summarised.criteria").iloc[0]
    for folder in ("of_rows", "mixed"):
        share = frame(
            place / folder,
            "select * from summarised.centres_criteria"
            " where measure = 'entry_3d_mm' and group_by = 'overall'",
        ).iloc[0]
        for name in ("n_met", "n_total", "share", "share_low", "share_high"):
            assert share[name] == pytest.approx(criterion[name], rel=1e-12)


def test_centres_that_differ_are_pooled_at_random(place):
    # against statsmodels.stats.meta_analysis.combine_effects, moments of the centres
    centres = frame(
        place / "mixed",
        "select * from summarised.centres"
        " where measure = 'entry_3d_mm' and group_by = 'overall'",
    )
    means, errors = centres["mean"].to_numpy(), centres["se"].to_numpy()
    found = combine_effects(means, errors**2, method_re="chi2")
    pooled = frame(
        place / "mixed",
        "select * from summarised.centres_pooled where measure = 'entry_3d_mm'"
        " and group_by = 'overall' and method = 'DerSimonian-Laird'",
    ).iloc[0]
    assert found.tau2 > 0
    assert pooled["tau2"] == pytest.approx(found.tau2)
    assert pooled["mean"] == pytest.approx(found.mean_effect_re)
    low, high = found.conf_int(use_t=True)[3]
    assert (pooled["mean_low"], pooled["mean_high"]) == pytest.approx((low, high))


def test_a_pooled_audit_is_reported_and_says_nothing_of_the_calendar(place):
    page = (place / "of_rows" / "reports" / "clinic_review.html").read_text("utf-8")
    assert "36 of 36" in page
    assert "Recalls overdue" not in page
    assert frame(place / "of_rows", "select * from summarised.recalls_due").empty
    days = frame(place / "of_rows", "select surgery_date from measured.cases")
    assert days["surgery_date"].isna().all()


def test_the_page_shows_the_centres_by_code_and_both_ways_together(place):
    page = (place / "mixed" / "reports" / "clinic_review.html").read_text("utf-8")
    assert "The centres, one by one and together" in page
    assert "a centre that gave totals" in page
    assert "With centres that differ at random" in page
    for folder in (place / "mixed" / "pooled").iterdir():
        code = folder.name
        assert f"{code[:4]} {code[4:8]} {code[8:]}" in page
    alone = audits.open_folder(place / "harbour")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(place / "keys"))
        commands.run(alone.folder, "reported", commands.Wishes(), quiet)
    review = (alone.reports_folder / "clinic_review.html").read_text("utf-8")
    assert "The centres, one by one" not in review


def test_centres_stand_in_a_funnel_of_their_own(place):
    funnel = frame(
        place / "of_rows", "select * from summarised.funnel where kind = 'centre'"
    )
    assert len(funnel) == 3
    assert funnel["n_cases"].sum() == 36
    assert list(funnel["unit"]) == sorted(funnel["unit"])


def test_an_audit_of_one_clinic_has_no_centres(place):
    for table in ("centres", "centres_pooled", "centres_criteria"):
        assert frame(place / "harbour", f"select * from summarised.{table}").empty


def test_a_pooled_audit_can_be_exported_and_keeps_its_centres_apart(place, tmp_path):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(place / "keys"))
        audit = audits.open_folder(place / "of_rows")
        take_out(audit, audit.settings(), tmp_path / "out", k=5, relink=None)
    lines = (tmp_path / "out" / "csv" / "cases.csv").read_text().splitlines()
    column = lines[0].split(",").index("centre_code")
    codes = {line.split(",")[column] for line in lines[1:]}
    assert len(codes) == 3
    assert codes.isdisjoint(p.name for p in (place / "of_rows" / "pooled").iterdir())


def test_every_measure_has_its_fixed_numbers_for_totals():
    given = [row["measure"] for row in load.rows("totals_measures")]
    assert given == [row["measure"] for row in load.rows("measures")]


def lines_of(**groups):
    whole = {"overall": {"all": sum(groups.values())}, "by": groups}
    return [
        Line(by, value, "s", 2, {("value", None): (0.0, Sums(n, 0.0, 0.0, 0.0))})
        for by, own in whole.items()
        for value, n in own.items()
    ]


@pytest.mark.parametrize(
    ("groups", "kept"),
    [
        ({"a": 20, "b": 9}, {"a", "b"}),
        # b by itself could be had from the whole less a
        ({"a": 20, "b": 4}, set()),
        ({"a": 20, "b": 4, "c": 7}, {"a"}),
        # what is left out together has five patients
        ({"a": 20, "b": 3, "c": 2}, {"a"}),
        ({"a": 4}, set()),
    ],
)
def test_no_group_of_fewer_than_five_can_be_had_by_subtraction(groups, kept):
    found = large_enough(lines_of(**groups), 5)
    assert {line.group_value for line in found if line.group_by == "by"} == kept


def test_a_group_that_lost_a_class_of_patients_says_so(tmp_path):
    # four patients with one implant, six with two
    text = sheets("harbour", 10, 0.5)
    folder = audit_of(tmp_path / "a", text, up_to="summarised")
    audit = audits.open_folder(folder)
    take_totals(audit, audit.settings(), tmp_path / "out", k=5)
    lines = (tmp_path / "out" / "totals.csv").read_text().splitlines()
    overall = [x for x in lines if x.startswith("entry_3d_mm,value,,overall")]
    assert [line.split(",")[-6] for line in overall] == ["2"]
    assert ",true,2," in overall[0]
    shutil.rmtree(tmp_path / "out")
