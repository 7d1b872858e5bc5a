"""Every table holds to its contract: columns, types, order, grain, no NaN."""

import pytest

from pipeline.reference import load
from pipeline.staged.problems import staged_name
from tests.audits import opened

CONTRACT_TABLES = sorted({row["table"] for row in load.rows("columns")})

GRAINS = {
    "measured.cases": "case_key",
    "measured.implants": "case_key, implant_key, basis, achieved_source",
    "measured.pairs": "case_key, basis, achieved_source",
    "measured.common_motion": "case_key, basis, achieved_source",
    "measured.readings": "row_id",
    "checked.registrations": "case_key, scan",
    "checked.superimposed_rows": "row_id",
    "checked.jaw_frames": "case_key",
    "checked.registration_evidence": "case_key",
    "measured.registrations": "case_key, scan",
    "measured.jaw_frames": "case_key",
    "measured.film_leans": "case_key, implant_key, state, view, film_kind",
    "measured.pairs_from_films": "case_key, achieved_source",
    "measured.pad_sites": "case_key, side, achieved_source, state",
    "summarised.guide_modes": "case_key, quantity, basis, achieved_source",
    "summarised.guide_slices": "quantity",
    "measured.guide_parts": "basis, case_key, side, quantity, achieved_source",
    "measured.repeatability": "basis, achieved_source, quantity, examiner",
    "measured.reading_errors": "basis, achieved_source",
    "measured.play": "case_key",
    "measured.examiners": "case_key, examiner_code",
    "measured.who_measured": "case_key",
    "summarised.film_checks": "film_check",
    "measured.exposure": "denture_key",
    "measured.denture_visits": "row_id",
    "measured.attachment_events": "row_id, side",
    "summarised.event_rates": "event_group, attachment, period",
    "summarised.first_event": "event_group, attachment, curve, years",
    "summarised.mean_cumulative_count": "event_group, attachment, years",
    "summarised.status": "attachment, years_after",
    "summarised.recalls_due": "denture_key",
    "summarised.chair_time": "attachment",
    "summarised.centres": "measure, group_by, group_value, centre_code",
    "summarised.centres_pooled": "measure, group_by, group_value, method",
    "summarised.centres_criteria": "measure, limit_value, group_by, group_value",
    "summarised.accuracy": "measure, group_by, group_value",
    "summarised.trainee_exposure": "trainee_code, setting",
    "summarised.trainee_difficulty": "trainee_code, setting, bone_height",
    "summarised.criteria": "criterion",
    "summarised.control_chart": "measure, case_key",
    "summarised.run_chart": "measure",
    "summarised.around_actions": "action_number, measure",
    "summarised.cycle_change": "kind, subject, group_by, group_value",
    "summarised.error_budget": "group_by, group_value, component, part",
    "summarised.bias": "vector",
    "summarised.parallel_pairs": "case_key",
    "summarised.parallelism": "quantity, state, attachment, limit_deg",
    "measured.plans_on_file": "case_key",
    "summarised.room_of_cases": "case_key, question",
    "summarised.room_kept": "question",
    "summarised.films_and_results": "case_key, quantity",
    "summarised.film_foretold": "quantity",
    "summarised.lab_guides": "lab_code, guide_code, case_key",
    "summarised.lab_parts": "lab_code, guide_code, case_key, quantity, side",
    "summarised.lab_return": "lab_code, quantity",
    "measured.guides_used": "case_key",
    "summarised.wear_of_cases": "case_key",
    "summarised.against_uses": "measure",
    "summarised.by_lot": "measure, material_lot",
    "summarised.left_right": "measure",
    "summarised.influence": "measure, kind, subject",
    "summarised.common_share": "group_by, group_value, component",
    "summarised.verdicts": "measure, comparison_set",
    "summarised.published_matches": "comparison_set, measure, key",
    "summarised.pooled_published": "comparison_set, measure, method",
    "summarised.completeness": "stage",
    "summarised.records_received": "sheet",
    "summarised.factor_effects": "measure, model, factor, level",
    "summarised.factor_models": "measure, model, factors",
    "summarised.learning": "measure",
    "summarised.attribution": "measure, factor, other_factor",
    "summarised.competence_adjusted": "trainee_code, case_number",
    "summarised.trainee_bands": "trainee_code, measure",
    "summarised.equivalence": "comparison",
    "summarised.sample_size": "measure, aim, amount",
    "summarised.sensitivity": "measure, variant, detail",
    "summarised.implant_fates": "case_key, implant_key",
    "summarised.case_fates": "case_key",
    "summarised.record_flow": "fate, first_check",
    "summarised.case_characteristics": "characteristic, value, is_measured",
    "summarised.implant_characteristics": "characteristic, value",
    "summarised.superimposing_errors": "achieved_source",
    "summarised.missing_fields": "sheet, field",
    "summarised.mended": "how",
    "checked.findings": "finding_id",
    "checked.results": "check_id, sheet",
    "checked.held": "row_id",
    "staged.problems": "row_id, field",
    "staged.completeness": "sheet, field",
    "staged.number_cases": "kind, code",
}

HEAD = ["row_id", "source", "row_number", "row_key"]


@pytest.mark.parametrize("table", CONTRACT_TABLES)
def test_a_table_has_exactly_the_columns_and_types_that_are_promised(demo, table):
    promised = [
        (row["column"], row["type"])
        for row in load.rows("columns")
        if row["table"] == table
    ]
    with opened(demo) as audit:
        assert audit.columns(table) == promised


@pytest.mark.parametrize("table", CONTRACT_TABLES)
def test_a_column_that_is_never_null_never_is(demo, table):
    never = [
        row["column"]
        for row in load.rows("columns")
        if row["table"] == table and row["null_means"] == "never"
    ]
    with opened(demo) as audit:
        counts = ", ".join(f'count(*) filter ("{c}" is null)' for c in never)
        found = audit.run(f"select {counts} from {table}")[0] if never else ()
    assert dict(zip(never, found, strict=True)) == dict.fromkeys(never, 0)


@pytest.mark.parametrize("sheet", load.sheets())
def test_a_staged_sheet_has_a_column_a_field_in_the_order_of_the_fields(demo, sheet):
    keyed = {"implants", "deviations", "films"}
    head = [*HEAD, "implant_key"] if sheet in keyed else HEAD
    fields = [staged_name(field) for field in load.fields(sheet)]
    with opened(demo) as audit:
        names = [name for name, _ in audit.columns(f"staged.{sheet}")]
    assert names == head + fields


@pytest.mark.parametrize("table", sorted(GRAINS))
def test_a_table_has_one_row_a_grain(demo, table):
    with opened(demo) as audit:
        twice = audit.run(
            f"select {GRAINS[table]} from {table} group by all having count(*) > 1"
        )
    assert twice == []


def test_no_number_of_any_table_is_nan_or_infinite(demo):
    with opened(demo) as audit:
        for table in audit.tables():
            numbers = [
                n for n, kind in audit.columns(table) if kind in {"DOUBLE", "FLOAT"}
            ]
            if numbers:
                bad = " + ".join(
                    f'count(*) filter (not isfinite("{n}"))' for n in numbers
                )
                assert audit.value(f"select {bad} from {table}") == 0, table


def test_one_preferred_record_an_implant_and_a_pair(demo):
    with opened(demo) as audit:
        for table, key in (
            ("measured.implants", "case_key, implant_key"),
            ("measured.pairs", "case_key"),
        ):
            counts = audit.run(
                f"select count(*) filter (is_preferred) from {table} group by {key}"
            )
            assert set(counts) == {(1,)}, table
