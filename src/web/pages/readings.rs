//! A chart in numbers: every line read at the same places, for those who would rather read a table.

use crate::charts::{Axis, Series};
use crate::report::words;
use crate::sweep::ShiftCurve;

/// Distances at which curves are read, m: even steps to the eye.
const DISTANCES_M: [f64; 16] = [
    0.2, 0.25, 0.3, 0.4, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 20.0, 50.0,
];
/// Parts of the travel at which curves are read.
const TRAVEL_PARTS: u32 = 10;

/// A line at one place.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Reading {
    /// Its shift.
    Shift(String),
    /// Why there is none.
    None(&'static str),
}

/// The table.
pub(super) struct Readings {
    /// What runs down the side.
    pub(super) along: &'static str,
    /// The lines.
    pub(super) lines: Vec<String>,
    /// A place and the shift of each line there.
    pub(super) rows: Vec<(String, Vec<Reading>)>,
}

impl Readings {
    /// The lines of a chart along its axis, closest focus first.
    pub(super) fn new(series: &[Series], axis: Axis) -> Self {
        let places = match axis {
            Axis::Distance => dioptres(series),
            Axis::Travel => (0..=TRAVEL_PARTS)
                .map(|part| f64::from(part) / f64::from(TRAVEL_PARTS))
                .collect(),
        };
        let read = |curve: &ShiftCurve, at: f64| match axis {
            Axis::Distance => curve.shift_at(at),
            Axis::Travel => curve.shift_at_travel(at),
        };
        let ranges = series.iter().filter_map(|line| line.curve.range_dioptres());
        let ends: Vec<f64> = ranges.map(|(_, near)| closest_told(near)).collect();
        let is_end = |at: f64| ends.iter().any(|end| (end - at).abs() < 1e-9);
        let place_words = |at: f64| match axis {
            Axis::Distance if at < 1e-5 => "infinity".to_owned(),
            // A limit, and named like one wherever it stands.
            Axis::Distance if is_end(at) => words::distance_from(1.0 / at),
            Axis::Distance => words::distance(1.0 / at),
            Axis::Travel => format!("{at:.1}"),
        };
        Self {
            along: match axis {
                Axis::Distance => "Focused at",
                Axis::Travel => "Travel",
            },
            lines: series.iter().map(|line| line.label.clone()).collect(),
            rows: places
                .into_iter()
                .map(|at| {
                    let reading = |line: &Series| match read(&line.curve, at) {
                        Some(shift) => Reading::Shift(words::shift(shift)),
                        None if axis == Axis::Distance && line.curve.range_dioptres().is_none() => {
                            Reading::None("distance unknown")
                        }
                        None => Reading::None("not measured"),
                    };
                    (place_words(at), series.iter().map(reading).collect())
                })
                .collect(),
        }
    }
}

/// The closest setting of a line as it is told, dioptres: that distance is a limit, so its three figures are rounded up, and what
/// stands beside it is read there. The read-out of a chart ends at the same setting.
fn closest_told(near: f64) -> f64 {
    let m = 1.0 / near;
    let step = 10_f64.powi(m.log10().floor() as i32 - 2);
    // What is beyond the last figure by less is noise of the arithmetic.
    let told = 1.0 / ((m / step - 1e-6).ceil() * step);
    told.min(near)
}

/// Focus settings that one of the lines reaches, dioptres, nearest first: the ladder of distances, the closest setting of
/// each line, and infinity.
fn dioptres(series: &[Series]) -> Vec<f64> {
    let ranges: Vec<(f64, f64)> = series
        .iter()
        .filter_map(|line| line.curve.range_dioptres())
        .collect();
    let mut places: Vec<f64> = DISTANCES_M
        .iter()
        .map(|m| 1.0 / m)
        .chain(ranges.iter().map(|range| closest_told(range.1)))
        .chain([0.0])
        .filter(|at| ranges.iter().any(|(far, near)| (*far..=*near).contains(at)))
        .collect();
    places.sort_by(|a, b| b.total_cmp(a));
    places.dedup_by(|a, b| words::focus(*a) == words::focus(*b));
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::CurvePoint;
    use crate::units::Measured;

    fn line(label: &str, near: f64, far: f64) -> Series {
        let point = |travel: f64, dioptres: f64, shift: f64| CurvePoint {
            travel,
            dioptres: Some(Measured::new(dioptres, 0.0)),
            shift_pct: Measured::new(shift, 0.005),
        };
        Series {
            label: label.to_owned(),
            curve: ShiftCurve::new(vec![point(0.0, near, 4.0), point(1.0, far, 0.0)]),
        }
    }

    #[test]
    fn every_line_is_read_where_it_was_measured_and_nowhere_else() {
        let lines = [line("50 mm", 2.0, 0.0), line("85 mm", 1.25, 0.25)];
        let table = Readings::new(&lines, Axis::Distance);
        let at = |place: &str| {
            let row = table.rows.iter().find(|row| row.0.starts_with(place));
            row.unwrap_or_else(|| panic!("{place}")).1.clone()
        };
        // A straight line over dioptres: half of 4 % at half of 2 dioptres; 85 mm begins at 0.8 m and ends at 4 m.
        let shift = |words: &str| Reading::Shift(words.to_owned());
        let unmeasured = Reading::None("not measured");
        assert_eq!(at("0.5 m"), [shift("+4.00 % ± 0.01"), unmeasured.clone()]);
        assert_eq!(at("1 m")[0], shift("+2.00 % ± 0.01"));
        assert_eq!(at("0.8 m")[1], shift("+4.00 % ± 0.01"));
        assert_eq!(at("infinity")[1], unmeasured);
        assert!(table.rows.iter().all(|row| !row.0.starts_with("0.4 m")));
        // 0.6 m is 1 ft 11.622 in: nearer than that was not measured.
        let ends = Readings::new(&[line("28 mm", 1.0 / 0.6, 0.0)], Axis::Distance);
        assert_eq!(ends.rows[0].0, "0.6 m (1 ft 11.7 in)");
        // A line that begins between figures is told, and read, from the next figure on.
        let macro_lens = [line("100 mm", 1.0 / 0.4185, 0.0)];
        let table = Readings::new(&macro_lens, Axis::Distance);
        assert!(
            table.rows[0].0.starts_with("0.419 m"),
            "{:?}",
            table.rows[0]
        );
        assert_eq!(
            table.rows[0].1[0],
            shift(&words::shift(Measured::new(4.0 * 0.4185 / 0.419, 0.005)))
        );
        let travel = Readings::new(&lines, Axis::Travel);
        assert_eq!(travel.rows.len(), 11);
        assert_eq!(travel.rows[5].1[1], shift("+2.00 % ± 0.01"));
    }
}
