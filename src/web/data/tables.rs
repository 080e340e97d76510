//! The tables of the data package: what their columns hold, written once for the files and for their description.

use crate::report::{FindingDocument, SweepDocument, guarded, number};
use crate::store::{PublishedSweep, Switch};
use crate::sweep::Part;
use crate::web::api::{FocalDocument, LensHead, bounds, figures, left_open, shot_with, timestamp};

/// What a cell may hold, by the words of Table Schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Type {
    Text,
    Number,
    Whole,
    Time,
}

/// A column: name, type, whether every row has it, and what it says, with unit and sign.
pub(super) struct Column {
    pub(super) name: &'static str,
    pub(super) holds: Type,
    pub(super) always: bool,
    pub(super) says: &'static str,
}

/// A table of the package.
pub(super) struct Table {
    /// Name of the file, without `.csv`.
    pub(super) name: &'static str,
    pub(super) title: &'static str,
    /// Columns that tell one row from another.
    pub(super) key: &'static [&'static str],
    /// A column that names a row of another table.
    pub(super) refers: Option<(&'static str, &'static str)>,
    pub(super) columns: &'static [Column],
}

macro_rules! columns {
    ($($name:literal $holds:ident $always:ident $says:literal)*) => {
        &[$(Column { name: $name, holds: Type::$holds, always: columns!($always), says: $says }),*]
    };
    (always) => { true };
    (maybe) => { false };
}

/// The tables in the order of the package.
pub(super) static TABLES: [Table; 5] = [
    Table {
        name: "lenses",
        title: "Lenses",
        key: &["slug"],
        refers: None,
        columns: columns! {
            "slug" Text always "Stable name of the lens in addresses"
            "maker" Text always "Maker"
            "model" Text always "Model, without the maker"
            "mount" Text always "Mount"
            "kind" Text always "prime, zoom, macro, cine_prime or cine_zoom"
            "focal_min_mm" Number always "Shortest marked focal length, mm"
            "focal_max_mm" Number always "Longest marked focal length, mm"
            "max_aperture" Number always "Smallest number on the aperture ring; what it counts says the next column"
            "aperture_marking" Text always "f for f-numbers, T for T-stops"
            "closest_focus_m" Number maybe "Marked closest focus from the sensor plane, m"
            "url" Text always "Address of its page"
        },
    },
    Table {
        name: "results",
        title: "Results by lens, conditions and focal length, repeats combined",
        key: &["slug", "conditions", "focal_length_mm"],
        refers: Some(("slug", "lenses")),
        columns: columns! {
            "slug" Text always "The lens"
            "conditions" Text always "Conditions that results must share to be ranked together"
            "focal_length_mm" Number always "Marked focal length, mm"
            "worst_shift_pct" Number always "Shift of largest magnitude on the picture scale, per cent; positive is tighter"
            "worst_shift_u_pct" Number always "Its standard uncertainty (k = 1), percentage points"
            "direction" Text always "tighter, wider, or none where it is within its expanded uncertainty (k = 2) of zero"
            "equivalent_focal_length_mm" Number always "The focal length that the lens frames like at its worst, mm"
            "equivalent_focal_length_u_mm" Number always "Its standard uncertainty (k = 1), mm: that of the shift; the marked focal length may be off by 5 %"
            "tolerance_pct" Number always "Tolerance that the next columns hold for, per cent"
            "tolerance_outcome" Text always "within, exceeded or unknown"
            "tolerance_distance_m" Number maybe "Farthest focus distance at which the magnitude of shift exceeds the tolerance, m"
            "tolerance_distance_u_m" Number maybe "Its standard uncertainty (k = 1), m"
            "tolerance_travel" Number maybe "Where in the sweep the tolerance is exceeded last, 0 at closest focus, 1 at the last frame"
            "relative_to" Text always "infinity, or farthest_frame where the last frame was not at infinity"
            "distance_source" Text always "exif, entered, blur (an estimate) or none"
            "closest_focus_m" Number maybe "Closest focus that was measured, m"
            "f_number" Number maybe "f-number of the sweep whose curve is shown"
            "camera" Text maybe "Camera of the sweep whose curve is shown, as its files state it"
            "frame_width_px" Whole maybe "Columns of the frames, px"
            "target_distance_m" Number maybe "Distance from sensor plane to targets, m"
            "sweep_count" Whole always "How many sweeps were combined"
            "sweeps" Text always "Their keys, with blanks between"
            "reviewers" Text maybe "Who measured, with semicolons between"
            "algorithm_version" Whole always "Version of the algorithm, that of the oldest sweep"
            "finding_codes" Text maybe "What was noticed, as codes with blanks between"
            "perspective_bound_pct" Number maybe "How much of the worst shift perspective may hold, percentage points: the entrance pupil may move towards the targets while focusing. Its true value lies between it less this and itself, with reference_shortfall_pct added to both. Empty where not known"
            "reference_shortfall_pct" Number maybe "What about every shift lacks, percentage points, because the reference is short of infinity; to be added with its sign. Empty where not known, or where it does not apply"
            "tolerance_distance_most_m" Number maybe "Farthest focus distance, m, at which the tolerance may be exceeded once all is counted that is left open: what perspective may hide, what every shift lacks short of infinity, and the expanded uncertainty (k = 2). Empty where that is farther than tolerance_distance_m by less than a fiftieth, or no distance is known from which on it surely holds"
            "tolerance_doubt" Text maybe "Why it is open whether the tolerance is exceeded at all: reference where that turns on what every shift lacks short of infinity, perspective, pictures where it turns on what these can't tell, uncertainty where the worst shift is closer to it than its expanded uncertainty (k = 2), or near_end where what was measured is within it and the nearest frames were not. Empty where it is not open"
            "focuses_to_m" Number maybe "Closest focus of the lens, m, where nothing was measured between it and closest_focus_m. Empty where it was measured"
            "f_numbers" Text maybe "f-numbers of all sweeps, rising, with blanks between"
            "cameras" Text maybe "Cameras of all sweeps, with semicolons between"
        },
    },
    Table {
        name: "curves",
        title: "Shift against focus",
        key: &["slug", "conditions", "focal_length_mm", "point"],
        refers: Some(("slug", "lenses")),
        columns: columns! {
            "slug" Text always "The lens"
            "conditions" Text always "Conditions, as in the results"
            "focal_length_mm" Number always "Marked focal length, mm"
            "point" Whole always "Number of the point, 1 at closest focus"
            "travel" Number always "Place in the sweep, 0 at closest focus, 1 at the last frame"
            "focus_dioptres" Number maybe "Focus setting, dioptres (1/m); 0 at infinity"
            "focus_u_dioptres" Number maybe "Its standard uncertainty (k = 1), dioptres"
            "shift_pct" Number always "Shift on the picture scale, per cent; positive is tighter"
            "shift_u_pct" Number always "Its standard uncertainty (k = 1), percentage points"
        },
    },
    Table {
        name: "sweeps",
        title: "Published sweeps",
        key: &["sweep"],
        refers: Some(("slug", "lenses")),
        columns: columns! {
            "sweep" Whole always "Key of the sweep"
            "slug" Text always "The lens"
            "version" Whole always "Version that is public, 1 for the first"
            "focal_length_mm" Number maybe "Marked focal length, mm"
            "distortion_correction" Text always "Distortion correction in the camera: on, off or unknown"
            "breathing_compensation" Text always "Breathing compensation in the camera: on, off or unknown"
            "stabilisation" Text always "Stabilisation: on, off or unknown"
            "target_distance_m" Number maybe "Distance from sensor plane to targets, m"
            "camera" Text maybe "Camera that the files state"
            "f_number" Number maybe "f-number"
            "captured_at" Text maybe "When the first frame was taken, by the camera's clock"
            "measured_at" Time always "When it was measured, UTC"
            "reviewer" Text always "Who measured"
            "algorithm_version" Whole always "Version of the algorithm"
            "frame_count" Whole always "Frames in all"
            "measured_count" Whole always "Frames that were measured"
            "reference_file" Text maybe "The frame that the others are compared with"
            "relative_to" Text always "infinity, or farthest_frame"
            "worst_shift_pct" Number maybe "Shift of largest magnitude, per cent; positive is tighter"
            "worst_shift_u_pct" Number maybe "Its standard uncertainty (k = 1), percentage points"
            "distance_source" Text always "exif, entered, blur (an estimate) or none"
            "finding_codes" Text maybe "What was noticed, as codes with blanks between"
            "perspective_bound_pct" Number maybe "How much of the worst shift perspective may hold, percentage points: the entrance pupil may move towards the targets while focusing. Its true value lies between it less this and itself, with reference_shortfall_pct added to both. Empty where not known"
            "reference_shortfall_pct" Number maybe "What about every shift lacks, percentage points, because the reference is short of infinity; to be added with its sign. Empty where not known, or where it does not apply"
        },
    },
    Table {
        name: "frames",
        title: "Frames of the published sweeps",
        key: &["sweep", "position"],
        refers: Some(("sweep", "sweeps")),
        columns: columns! {
            "sweep" Whole always "The sweep"
            "position" Whole always "Number of the frame in its sweep, 1 at closest focus"
            "file" Text always "File name"
            "state" Text always "measured, left_out or failed"
            "reason" Text maybe "Why it was left out or failed"
            "travel" Number always "Place in the sweep, 0 at closest focus, 1 at the last frame"
            "focus_dioptres" Number maybe "Focus setting, dioptres (1/m); 0 at infinity"
            "focus_u_dioptres" Number maybe "Its standard uncertainty (k = 1), dioptres"
            "separation_px" Number maybe "Distance between the outermost target centres, px"
            "separation_u_px" Number maybe "Its standard uncertainty (k = 1), px"
            "shift_pct" Number maybe "Shift on the picture scale, per cent; positive is tighter"
            "shift_u_pct" Number maybe "Its standard uncertainty (k = 1), percentage points"
            "left_x_px" Number maybe "Centre of the outermost target on the left, px from the left edge"
            "left_y_px" Number maybe "The same, px from the top"
            "right_x_px" Number maybe "Centre of the outermost target on the right, px from the left edge"
            "right_y_px" Number maybe "The same, px from the top"
            "left_blur_px" Number maybe "Diameter of the blur disc of the left target, px"
            "right_blur_px" Number maybe "Diameter of the blur disc of the right target, px"
        },
    },
];

fn text(value: Option<&str>) -> String {
    guarded(value.unwrap_or_default())
}

fn codes(findings: &[FindingDocument]) -> String {
    let codes: Vec<&str> = findings.iter().map(|finding| finding.code).collect();
    codes.join(" ")
}

/// A row of `lenses`.
pub(super) fn lens_row(lens: &LensHead) -> Vec<String> {
    vec![
        guarded(&lens.slug),
        guarded(&lens.maker),
        guarded(&lens.model),
        guarded(&lens.mount),
        lens.kind.to_owned(),
        lens.focal_min_mm.to_string(),
        lens.focal_max_mm.to_string(),
        lens.max_aperture.to_string(),
        lens.aperture_marking.to_owned(),
        number(lens.closest_focus_m),
        lens.url.clone(),
    ]
}

/// A row of `results`.
pub(super) fn result_row(lens: &LensHead, focal: &FocalDocument) -> Vec<String> {
    let sweeps: Vec<String> = focal.sweeps.iter().map(i64::to_string).collect();
    let mut row = vec![
        guarded(&lens.slug),
        focal.conditions.clone(),
        focal.focal_length_mm.to_string(),
    ];
    row.extend(figures(focal));
    row.extend([
        text(focal.camera.as_deref()),
        number(focal.frame_width_px.map(f64::from)),
        number(focal.target_distance_m),
        focal.sweep_count.to_string(),
        sweeps.join(" "),
        guarded(&focal.reviewers.join("; ")),
        focal.algorithm_version.to_string(),
        codes(&focal.findings),
    ]);
    row.extend(bounds(focal));
    row.extend(left_open(focal));
    row.extend(shot_with(focal));
    row
}

/// The rows of `curves` of a result.
pub(super) fn curve_rows(lens: &LensHead, focal: &FocalDocument) -> Vec<Vec<String>> {
    let points = focal.result.curve.points().iter().enumerate();
    points
        .map(|(index, point)| {
            vec![
                guarded(&lens.slug),
                focal.conditions.clone(),
                focal.focal_length_mm.to_string(),
                (index + 1).to_string(),
                point.travel.to_string(),
                number(point.dioptres.map(|at| at.value)),
                number(point.dioptres.map(|at| at.std_error)),
                point.shift_pct.value.to_string(),
                point.shift_pct.std_error.to_string(),
            ]
        })
        .collect()
}

/// A row of `sweeps`.
pub(super) fn sweep_row(published: &PublishedSweep, document: &SweepDocument) -> Vec<String> {
    let sweep = &published.sweep;
    let said = &sweep.conditions;
    let switch = |switch: Switch| switch.code().to_owned();
    let result = sweep.result.as_ref();
    vec![
        sweep.id.to_string(),
        guarded(&sweep.lens.slug),
        published.version.to_string(),
        number(document.focal_length_mm),
        switch(said.distortion_correction),
        switch(said.breathing_compensation),
        switch(said.stabilisation),
        number(said.target_distance.map(crate::units::Metres::m)),
        text(document.camera.as_deref()),
        number(document.f_number),
        text(document.captured_at.as_deref()),
        result.map_or_else(String::new, |result| timestamp(result.measured_ms)),
        guarded(&sweep.reviewer),
        result.map_or_else(String::new, |result| result.algorithm_version.to_string()),
        document.frame_count.to_string(),
        document.measured_count.to_string(),
        text(document.reference_file.as_deref()),
        document.relative_to.to_owned(),
        number(document.worst_shift_pct),
        number(document.worst_shift_u_pct),
        document.distance_source.to_owned(),
        codes(&document.findings),
        number(bound(document, Part::EntrancePupil)),
        number(bound(document, Part::ReferenceNotAtInfinity)),
    ]
}

/// The size of a systematic bound of a sweep, percentage points.
fn bound(document: &SweepDocument, part: Part) -> Option<f64> {
    let mut lines = document.budget.as_ref()?.systematic.iter();
    let line = lines.find(|line| line.part == part.code())?;
    Some(line.pct)
}

/// The rows of `frames` of a sweep.
pub(super) fn frame_rows(sweep: i64, document: &SweepDocument) -> Vec<Vec<String>> {
    let frames = document.frames.iter().enumerate();
    frames
        .map(|(index, frame)| {
            let (left, right) = (frame.targets.first(), frame.targets.last());
            vec![
                sweep.to_string(),
                (index + 1).to_string(),
                guarded(&frame.file),
                frame.state.to_owned(),
                text(frame.reason.as_deref()),
                frame.travel.to_string(),
                number(frame.focus_dioptres),
                number(frame.focus_u_dioptres),
                number(frame.separation_px),
                number(frame.separation_u_px),
                number(frame.shift_pct),
                number(frame.shift_u_pct),
                number(left.map(|target| target.x_px)),
                number(left.map(|target| target.y_px)),
                number(right.map(|target| target.x_px)),
                number(right.map(|target| target.y_px)),
                number(left.and_then(|target| target.blur_px)),
                number(right.and_then(|target| target.blur_px)),
            ]
        })
        .collect()
}
