//! Twins of the pages as CSV (RFC 4180, UTF-8, header row): raw numbers, units in the names, unknown is empty.

use super::compare::CompareDocument;
use super::counter_scale::CounterScaleDocument;
use super::documents::{FocalDocument, LensHead};
use super::pull::PullDocument;
use super::ranking::RankingDocument;
use super::record::LensDocument;
use crate::report::{FindingDocument, guarded, number};
use crate::units::FEET_PER_METRE;
use crate::web::WebError;

/// Columns of a result at one focal length.
const FOCAL_COLUMNS: [&str; 39] = [
    "slug",
    "maker",
    "model",
    "mount",
    "kind",
    "focal_length_mm",
    "conditions",
    "distortion_correction",
    "breathing_compensation",
    "worst_shift_pct",
    "worst_shift_u_pct",
    "direction",
    "equivalent_focal_length_mm",
    "equivalent_focal_length_u_mm",
    "tolerance_pct",
    "tolerance_outcome",
    "tolerance_distance_m",
    "tolerance_distance_u_m",
    "tolerance_travel",
    "relative_to",
    "distance_source",
    "closest_focus_m",
    "f_number",
    "target_distance_m",
    "sweep_count",
    "algorithm_version",
    "finding_codes",
    "angle_of_view_deg",
    "angle_of_view_worst_deg",
    "angle_of_view_worst_u_deg",
    "angle_change_pct",
    "angle_change_u_pct",
    "perspective_bound_pct",
    "reference_shortfall_pct",
    "tolerance_distance_most_m",
    "tolerance_doubt",
    "focuses_to_m",
    "f_numbers",
    "cameras",
];

/// The figures that every row of a result has, from its worst shift to its f-number, in this order.
pub(in crate::web) fn figures(focal: &FocalDocument) -> Vec<String> {
    vec![
        focal.worst_shift_pct.to_string(),
        focal.worst_shift_u_pct.to_string(),
        focal.direction.to_owned(),
        focal.equivalent_focal_length_mm.to_string(),
        focal.equivalent_focal_length_u_mm.to_string(),
        focal.tolerance_pct.to_string(),
        focal.tolerance_outcome.to_owned(),
        number(focal.tolerance_distance_m),
        number(focal.tolerance_distance_u_m),
        number(focal.tolerance_travel),
        focal.relative_to.to_owned(),
        focal.distance_source.to_owned(),
        number(focal.closest_focus_m),
        number(focal.f_number),
    ]
}

fn focal_row(lens: &LensHead, focal: &FocalDocument) -> Vec<String> {
    let mut row = vec![
        guarded(&lens.slug),
        guarded(&lens.maker),
        guarded(&lens.model),
        guarded(&lens.mount),
        lens.kind.to_owned(),
        focal.focal_length_mm.to_string(),
        focal.conditions.clone(),
        focal.distortion_correction.to_owned(),
        focal.breathing_compensation.to_owned(),
    ];
    row.extend(figures(focal));
    row.extend([
        number(focal.target_distance_m),
        focal.sweep_count.to_string(),
        focal.algorithm_version.to_string(),
        codes(&focal.findings),
        focal.angle_of_view_deg.to_string(),
        focal.angle_of_view_worst_deg.to_string(),
        focal.angle_of_view_worst_u_deg.to_string(),
        focal.angle_change_pct.to_string(),
        focal.angle_change_u_pct.to_string(),
    ]);
    row.extend(bounds(focal));
    row.extend(left_open(focal));
    row.extend(shot_with(focal));
    row
}

/// The f-numbers and cameras of all sweeps of a result, with blanks and with semicolons between.
pub(in crate::web) fn shot_with(focal: &FocalDocument) -> [String; 2] {
    let stops: Vec<String> = focal.f_numbers.iter().map(f64::to_string).collect();
    [stops.join(" "), guarded(&focal.cameras.join("; "))]
}

/// What was measured leaves open: how far the tolerance may be exceeded at most, why it is open whether it is at all, and
/// how near the lens focuses where that was not measured.
pub(in crate::web) fn left_open(focal: &FocalDocument) -> [String; 3] {
    [
        number(focal.tolerance_distance_most_m),
        focal.tolerance_doubt.unwrap_or_default().to_owned(),
        number(focal.focuses_to_m),
    ]
}

/// The bounds of its worst shift that no scatter shows; empty where not known or where they don't apply.
pub(in crate::web) fn bounds(focal: &FocalDocument) -> [String; 2] {
    [
        number(focal.perspective_bound_pct),
        number(focal.reference_shortfall_pct),
    ]
}

/// Columns of a focus pull, behind those of the result it is read from; empty where none was asked for.
const PULL_COLUMNS: [&str; 13] = [
    "pull_from_m",
    "pull_to_m",
    "framing_change_pct",
    "framing_change_u_pct",
    "crop_to_hide_pct",
    "widest_on_the_way_pct",
    "tightest_on_the_way_pct",
    "picture_width_px",
    "edge_movement_px",
    "edge_movement_u_px",
    "scale_to_hide",
    "pull_outside",
    "pull_perspective_bound_pct",
];

fn pulled_columns() -> Vec<&'static str> {
    [&FOCAL_COLUMNS[..], &PULL_COLUMNS[..]].concat()
}

fn pull_cells(pull: Option<&PullDocument>) -> [String; 13] {
    let Some(pull) = pull else {
        return Default::default();
    };
    [
        number(pull.from_m),
        number(pull.to_m),
        number(pull.framing_change_pct),
        number(pull.framing_change_u_pct),
        number(pull.crop_to_hide_pct),
        number(pull.widest_on_the_way_pct),
        number(pull.tightest_on_the_way_pct),
        pull.picture_width_px.to_string(),
        number(pull.edge_movement_px),
        number(pull.edge_movement_u_px),
        number(pull.scale_to_hide),
        guarded(pull.outside.as_deref().unwrap_or_default()),
        number(pull.perspective_bound_pct),
    ]
}

/// Results of one lens, one row a focal length and set of conditions, with their focus pulls.
pub(in crate::web) fn lens_csv(document: &LensDocument) -> Result<String, WebError> {
    let rows = document.results.iter().enumerate().map(|(index, focal)| {
        let mut row = focal_row(&document.lens, focal);
        row.extend(pull_cells(document.pulls.get(index)));
        row
    });
    written(&pulled_columns(), rows)
}

/// The results that are compared, one row a lens.
pub(in crate::web) fn compare_csv(document: &CompareDocument) -> Result<String, WebError> {
    let rows = document.lenses.iter().filter_map(|compared| {
        let mut row = focal_row(&compared.lens, compared.result.as_ref()?);
        row.extend(pull_cells(compared.pull.as_ref()));
        Some(row)
    });
    written(&pulled_columns(), rows)
}

/// The ranking, one row a lens.
pub(in crate::web) fn ranking_csv(document: &RankingDocument) -> Result<String, WebError> {
    const COLUMNS: [&str; 26] = [
        "slug",
        "maker",
        "model",
        "mount",
        "kind",
        "focal_min_mm",
        "focal_max_mm",
        "conditions",
        "worst_shift_pct",
        "worst_shift_u_pct",
        "worst_focal_length_mm",
        "tolerance_pct",
        "tolerance_outcome",
        "tolerance_distance_m",
        "published_at",
        "relative_to",
        "warnings",
        "ranked_focal_length_mm",
        "whole_lens_worst_shift_pct",
        "whole_lens_worst_focal_length_mm",
        "perspective_bound_pct",
        "nothing_measured_below_mm",
        "nothing_measured_above_mm",
        "tolerance_distance_most_m",
        "tolerance_doubt",
        "measured_under",
    ];
    let rows = document.lenses.iter().map(|row| {
        vec![
            guarded(&row.lens.slug),
            guarded(&row.lens.maker),
            guarded(&row.lens.model),
            guarded(&row.lens.mount),
            row.lens.kind.to_owned(),
            row.lens.focal_min_mm.to_string(),
            row.lens.focal_max_mm.to_string(),
            document.conditions.code.clone(),
            number(row.worst_shift_pct),
            number(row.worst_shift_u_pct),
            number(row.worst_focal_length_mm),
            document.tolerance_pct.to_string(),
            row.tolerance_outcome.unwrap_or_default().to_owned(),
            number(row.tolerance_distance_m),
            row.published_at.clone().unwrap_or_default(),
            row.relative_to.unwrap_or_default().to_owned(),
            if row.measured {
                row.warnings.to_string()
            } else {
                String::new()
            },
            number(row.ranked_focal_length_mm),
            number(row.whole_lens_worst_shift_pct),
            number(row.whole_lens_worst_focal_length_mm),
            number(row.perspective_bound_pct),
            number(row.nothing_measured_below_mm),
            number(row.nothing_measured_above_mm),
            number(row.tolerance_distance_most_m),
            row.tolerance_doubt.unwrap_or_default().to_owned(),
            row.measured_under.join(" "),
        ]
    });
    written(&COLUMNS, rows)
}

/// The counter-scale table, one row a focal length and setting.
pub(in crate::web) fn counter_scale_csv(
    document: &CounterScaleDocument,
) -> Result<String, WebError> {
    const COLUMNS: [&str; 18] = [
        "slug",
        "conditions",
        "focal_length_mm",
        "held",
        "held_distance_m",
        "held_travel",
        "focus_distance_m",
        "focus_distance_ft",
        "focus_dioptres",
        "travel",
        "shift_pct",
        "scale",
        "scale_u",
        "relative_to",
        "farthest_focus_m",
        "finding_codes",
        "perspective_bound_pct",
        "outside",
    ];
    let rows = document.tables.iter().flat_map(|table| {
        let held = table.reference.as_ref();
        // A focal length without rows has one that says why.
        let rows = table.rows.iter().map(Some);
        let why = table.outside.iter().map(|_| None);
        rows.chain(why).map(move |row| {
            let setting = row.map(|row| &row.setting);
            let focus_m = setting.and_then(|setting| setting.focus_distance_m);
            vec![
                guarded(&document.lens.slug),
                document.conditions.clone(),
                table.focal_length_mm.to_string(),
                document.hold.to_owned(),
                number(held.and_then(|held| held.focus_distance_m)),
                number(held.map(|held| held.travel)),
                number(focus_m),
                number(focus_m.map(feet)),
                number(setting.and_then(|setting| setting.focus_dioptres)),
                number(setting.map(|setting| setting.travel)),
                number(setting.map(|setting| setting.shift_pct)),
                number(row.map(|row| row.scale)),
                number(row.map(|row| row.scale_u)),
                table.relative_to.to_owned(),
                number(table.farthest_focus_m),
                codes(&table.findings),
                number(row.and_then(|row| row.perspective_bound_pct)),
                guarded(table.outside.as_deref().unwrap_or_default()),
            ]
        })
    });
    written(&COLUMNS, rows)
}

/// The codes of what was noticed, with blanks between them.
fn codes(findings: &[FindingDocument]) -> String {
    let codes: Vec<&str> = findings.iter().map(|finding| finding.code).collect();
    codes.join(" ")
}

/// A distance in feet, to the billionth of a foot: what is beyond is noise of the arithmetic.
fn feet(m: f64) -> f64 {
    (m * FEET_PER_METRE * 1e9).round() / 1e9
}

/// Rows under their header.
pub(in crate::web) fn written(
    columns: &[&str],
    rows: impl Iterator<Item = Vec<String>>,
) -> Result<String, WebError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(columns).map_err(WebError::inside)?;
    for row in rows {
        writer.write_record(row).map_err(WebError::inside)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| WebError::inside(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
