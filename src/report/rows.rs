//! Frames as CSV rows, one header, one row a frame. Text cells are guarded against spreadsheet formulas; numbers never.

use super::{RepeatsDocument, SweepDocument};

const HEADER: [&str; 22] = [
    "sweep",
    "focal_length_mm",
    "file",
    "state",
    "reason",
    "travel",
    "focus_distance_m",
    "focus_dioptres",
    "focus_u_dioptres",
    "separation_px",
    "separation_u_px",
    "shift_pct",
    "shift_u_pct",
    "left_x_px",
    "left_y_px",
    "right_x_px",
    "right_y_px",
    "blur_px",
    "repeats_count",
    "repeats_worst_shift_pct",
    "repeats_worst_shift_u_pct",
    "repeats_disagree",
];

/// The frames of these sweeps as CSV (RFC 4180, UTF-8, header row). Unknown is an empty cell. What a sweep comes to together
/// with those that repeat it stands in each of its rows: how many count, their worst shift and its standard uncertainty,
/// and whether they disagree.
///
/// # Errors
/// When a row can't be written into memory.
pub fn frames_csv(
    sweeps: &[SweepDocument],
    repeats: &[RepeatsDocument],
) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(HEADER)?;
    for (place, sweep) in sweeps.iter().enumerate() {
        let together = repeats.iter().find(|one| one.sweeps.contains(&place));
        for frame in &sweep.frames {
            let (left, right) = (frame.targets.first(), frame.targets.last());
            writer.write_record([
                guarded(&sweep.name),
                number(sweep.focal_length_mm),
                guarded(&frame.file),
                frame.state.to_owned(),
                guarded(frame.reason.as_deref().unwrap_or_default()),
                frame.travel.to_string(),
                number(frame.focus_distance_m),
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
                together.map_or_else(String::new, |all| all.sweeps.len().to_string()),
                number(together.map(|all| all.worst_shift_pct)),
                number(together.map(|all| all.worst_shift_u_pct)),
                together.map_or_else(String::new, |all| all.disagree.to_string()),
            ])?;
        }
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// A text cell that no spreadsheet takes for a formula: = + - @ tab and CR at its start get an apostrophe before them.
#[must_use]
pub fn guarded(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// A number as a cell, raw; unknown is empty.
#[must_use]
pub fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_disarmed_and_numbers_left_alone() {
        assert_eq!(guarded("=1+1"), "'=1+1");
        assert_eq!(guarded("-x.jpg"), "'-x.jpg");
        assert_eq!(guarded("SWP_0001.JPG"), "SWP_0001.JPG");
        assert_eq!(number(Some(-1.4)), "-1.4");
        assert_eq!(number(None), "");
    }
}
