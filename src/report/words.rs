//! Numbers as a person reads them: signs, decimals, units, metres with feet.

use time::OffsetDateTime;
use time::macros::format_description;

use crate::sweep::{Direction, ToleranceOutcome};
use crate::units::Measured;

mod feet;
pub use feet::{
    distance_as_asked, distance_from, distance_from_in_full, distance_up_to, feet, feet_and_inches,
    uncertainty_of,
};

/// A signed percentage with two decimals and a true minus sign, e.g. `+2.05 %`; zero has no sign.
#[must_use]
pub fn signed_pct(value: f64) -> String {
    let rounded = format!("{:.2}", value.abs());
    if rounded == "0.00" {
        "0.00 %".to_owned()
    } else if value < 0.0 {
        format!("−{rounded} %")
    } else {
        format!("+{rounded} %")
    }
}

/// Percentage points with their sign, e.g. `+0.50`.
#[must_use]
pub fn points(pct: f64) -> String {
    signed_pct(pct).trim_end_matches(" %").to_owned()
}

/// A shift with its expanded uncertainty (k = 2), e.g. `+2.05 % ± 0.02`; what is below 0.01 is said so.
#[must_use]
pub fn shift(shift_pct: Measured) -> String {
    format!(
        "{} ± {}",
        signed_pct(shift_pct.value),
        expanded(shift_pct.std_error)
    )
}

/// An expanded uncertainty (k = 2) in percentage points; at two decimals nothing is rounded to 0.
#[must_use]
pub fn expanded(std_error_pct: f64) -> String {
    let twice = 2.0 * std_error_pct;
    if twice < 0.01 {
        "0.01".to_owned()
    } else {
        format!("{twice:.2}")
    }
}

/// A percentage without needless zeros, e.g. `2 %` or `1.5 %`.
#[must_use]
pub fn plain_pct(value: f64) -> String {
    format!("{} %", trimmed(value, 2))
}

/// A focal length without needless zeros, e.g. `50 mm` or `16.5 mm`.
#[must_use]
pub fn focal_length(mm: f64) -> String {
    format!("{} mm", trimmed(mm, 1))
}

/// Full stops as lenses mark them (the series of ISO 517, from memory).
const MARKED_STOPS: [f64; 12] = [
    0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0,
];

/// An f-number as lenses mark it, e.g. `f/5.6` for 5.66 and `f/11` for 11.3; others with one decimal.
#[must_use]
pub fn f_number(n: f64) -> String {
    // Marks are rounded powers of the root of two, off by up to 3 %.
    let marked = MARKED_STOPS
        .into_iter()
        .find(|mark| (mark - n).abs() < 0.03 * n);
    format!("f/{}", trimmed(marked.unwrap_or(n), 1))
}

/// A range of focal lengths, e.g. `28–135 mm`; one of them for a prime.
#[must_use]
pub fn focal_range(shortest_mm: f64, longest_mm: f64) -> String {
    if longest_mm > shortest_mm {
        format!("{}–{} mm", trimmed(shortest_mm, 1), trimmed(longest_mm, 1))
    } else {
        focal_length(shortest_mm)
    }
}

/// The focal length that a lens frames like in a sentence, one decimal, e.g. `86.7 mm`.
#[must_use]
pub fn framing_focal_length(mm: f64) -> String {
    format!("{mm:.1} mm")
}

/// An expanded uncertainty (k = 2) at one decimal, at which nothing is rounded to 0.
fn expanded_tenths(std_error: f64) -> String {
    format!("{:.1}", (2.0 * std_error).max(0.1))
}

/// The focal length that a lens frames like with its expanded uncertainty (k = 2), one decimal, e.g. `86.7 mm ± 0.1`.
#[must_use]
pub fn equivalent_focal_length(mm: Measured) -> String {
    format!(
        "{} ± {}",
        framing_focal_length(mm.value),
        expanded_tenths(mm.std_error)
    )
}

/// An angle of view at infinity and where the shift is worst, degrees, with its change and the expanded uncertainty
/// (k = 2) of that, per cent, e.g. `39.6° → 38.8° (−1.9 % ± 0.1)`; one decimal, so a change below a twentieth of a per
/// cent is told as none.
#[must_use]
pub fn angle(at_infinity_deg: f64, worst_deg: f64, change_pct: Measured) -> String {
    let change = format!("{:.1} %", change_pct.value.abs());
    let change = match change_pct.value {
        _ if change == "0.0 %" => change,
        negative if negative < 0.0 => format!("−{change}"),
        _ => format!("+{change}"),
    };
    let u = expanded_tenths(change_pct.std_error);
    format!("{at_infinity_deg:.1}° → {worst_deg:.1}° ({change} ± {u})")
}

/// A distance in metres, three figures at most, e.g. `0.461 m`, `2.1 m`, `12 m`.
#[must_use]
pub fn metres(m: f64) -> String {
    format!("{} m", figures(m))
}

/// A distance in metres and feet, e.g. `0.461 m (1 ft 6.1 in)`.
#[must_use]
pub fn distance(m: f64) -> String {
    format!("{} ({})", metres(m), feet(m))
}

/// A focus setting as a distance, e.g. `0.45 m` or `∞`.
#[must_use]
pub fn focus(dioptres: f64) -> String {
    if dioptres < 1e-5 {
        "∞".to_owned()
    } else {
        metres(1.0 / dioptres)
    }
}

/// A direction as an adjective, e.g. `tighter`; `no change` where none was told apart from zero.
#[must_use]
pub const fn direction(direction: Direction) -> &'static str {
    match direction {
        Direction::Tighter => "tighter",
        Direction::Wider => "wider",
        Direction::None => "no change",
    }
}

/// A direction as an adjective; where repeats disagree so much that none is told apart, that is not "no change".
#[must_use]
pub const fn direction_of_repeats(seen: Direction, disagree: bool) -> &'static str {
    match seen {
        Direction::None if disagree => "not to be told",
        _ => direction(seen),
    }
}

/// A verdict, and that the sweeps behind it disagree.
#[must_use]
pub fn with_disagreement(verdict: String, disagree: bool) -> String {
    if disagree {
        format!("{verdict} Repeated sweeps disagree by more than their uncertainties.")
    } else {
        verdict
    }
}

/// How the figure of repeated sweeps comes about: as their mean, or as that of the surest one.
#[must_use]
pub const fn taken_together(is_mean: bool) -> &'static str {
    if is_mean {
        "weighted by certainty"
    } else {
        "that of the surest one, as uncertain as they differ"
    }
}

/// The tolerance distance in a table, rounded up, e.g. `0.461 m (1 ft 6.2 in)`, `never exceeded`, `distance unknown`.
#[must_use]
pub fn tolerance(outcome: ToleranceOutcome) -> String {
    match (outcome, outcome.distance_m()) {
        (_, Some(m)) => distance_from(m.value),
        (ToleranceOutcome::Within, None) => "never exceeded".to_owned(),
        (ToleranceOutcome::Exceeded { .. }, None) => "at every distance".to_owned(),
        (ToleranceOutcome::Unknown { .. }, None) => "distance unknown".to_owned(),
    }
}

/// A count with its noun, e.g. `1 frame`, `24 frames`.
#[must_use]
pub fn count(number: usize, noun: &str) -> String {
    if number == 1 {
        format!("1 {noun}")
    } else {
        format!("{number} {noun}s")
    }
}

/// At most `decimals` decimals, without trailing zeros.
fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Three significant figures below 10, two decimals at most; whole numbers from 10 on with at most one decimal.
fn figures(value: f64) -> String {
    if value < 1.0 {
        trimmed(value, 3)
    } else if value < 10.0 {
        trimmed(value, 2)
    } else if value < 100.0 {
        trimmed(value, 1)
    } else {
        trimmed(value, 0)
    }
}

/// A moment in words, UTC, e.g. "2026-11-25, 14:05 UTC", from ms since 1970 UTC; empty beyond the calendar.
#[must_use]
pub fn moment(ms: i64) -> String {
    let format = format_description!("[year]-[month]-[day], [hour]:[minute] UTC");
    OffsetDateTime::from_unix_timestamp(ms.div_euclid(1000))
        .ok()
        .and_then(|at| at.format(&format).ok())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    #[test]
    fn moments_are_in_utc_words() {
        assert_eq!(moment(0), "1970-01-01, 00:00 UTC");
        assert_eq!(moment(i64::MAX), "");
    }

    use super::*;

    #[test]
    fn f_numbers_are_told_as_they_are_marked() {
        for (n, words) in [
            (8.0, "f/8"),
            (5.657, "f/5.6"),
            (11.31, "f/11"),
            (3.6, "f/3.6"),
        ] {
            assert_eq!(f_number(n), words);
        }
    }

    #[test]
    fn signs_and_decimals() {
        for (value, words) in [
            (2.05, "+2.05 %"),
            (-1.4, "−1.40 %"),
            (0.004, "0.00 %"),
            (-0.004, "0.00 %"),
            (12.0, "+12.00 %"),
        ] {
            assert_eq!(signed_pct(value), words);
        }
        assert_eq!(shift(Measured::new(2.05, 0.01)), "+2.05 % ± 0.02");
        assert_eq!(shift(Measured::new(2.05, 0.001)), "+2.05 % ± 0.01");
    }

    /// 1 m is 39.37 in, by definition of the inch.
    #[test]
    fn distances_in_metres_and_feet() {
        for (m, words) in [
            (1.0, "1 m (3 ft 3.4 in)"),
            (0.85, "0.85 m (2 ft 9.5 in)"),
            (0.461, "0.461 m (1 ft 6.1 in)"),
            (12.0, "12 m (39 ft 4 in)"),
            (250.0, "250 m (820 ft)"),
        ] {
            assert_eq!(distance(m), words);
        }
        assert_eq!(focus(0.0), "∞");
        assert_eq!(focus(2.0), "0.5 m");
    }

    #[test]
    fn angles_before_and_after() {
        let change = |pct: f64, u: f64| Measured::new(pct, u);
        for (before, after, change, words) in [
            (
                39.598,
                38.863,
                change(-1.857, 0.01),
                "39.6° → 38.9° (−1.9 % ± 0.1)",
            ),
            (
                39.598,
                39.6,
                change(0.004, 0.01),
                "39.6° → 39.6° (0.0 % ± 0.1)",
            ),
            (
                65.47,
                66.261,
                change(1.208, 0.12),
                "65.5° → 66.3° (+1.2 % ± 0.2)",
            ),
        ] {
            assert_eq!(angle(before, after, change), words);
        }
        assert_eq!(
            equivalent_focal_length(Measured::new(86.72, 0.01)),
            "86.7 mm ± 0.1"
        );
        assert_eq!(
            equivalent_focal_length(Measured::new(204.3, 0.4)),
            "204.3 mm ± 0.8"
        );
    }

    #[test]
    fn outcomes_in_words() {
        let exceeded = ToleranceOutcome::Exceeded {
            dioptres: Measured::new(2.0, 0.01),
            travel: 0.1,
        };
        assert_eq!(tolerance(exceeded), "0.5 m (1 ft 7.7 in)");
        assert_eq!(tolerance(ToleranceOutcome::Within), "never exceeded");
        assert_eq!(
            tolerance(ToleranceOutcome::Unknown { travel: 0.2 }),
            "distance unknown"
        );
    }
}
