//! Distances in feet and inches, and distances that bound something: rounded to the side on which it holds.

use super::{metres, trimmed};
use crate::units::FEET_PER_METRE;

/// A distance in feet, e.g. `1.5 ft`, `39 ft`.
#[must_use]
pub fn feet(m: f64) -> String {
    let feet = m * FEET_PER_METRE;
    if feet < 9.95 {
        format!("{feet:.1} ft")
    } else {
        format!("{feet:.0} ft")
    }
}

/// A distance in feet and inches, to a hundredth of an inch, e.g. `10 ft 6 in`, `10 ft`, `9 in`, `1 ft 2.96 in`.
#[must_use]
pub fn feet_and_inches(m: f64) -> String {
    // Rounded before it is parted, so that no 12 in are left over.
    let inches = hundredths_of_inches(m) / 100.0;
    let feet = (inches / 12.0).floor();
    let inches = trimmed(inches - 12.0 * feet, 2);
    match (feet > 0.0, inches.as_str()) {
        (true, "0") => format!("{feet:.0} ft"),
        (true, _) => format!("{feet:.0} ft {inches} in"),
        (false, _) => format!("{inches} in"),
    }
}

fn hundredths_of_inches(m: f64) -> f64 {
    (m * FEET_PER_METRE * 1200.0).round()
}

/// A distance that somebody asked for, in the unit they used first, e.g. `3 m (9.8 ft)`, or `9 ft 10 in (3 m)`. Feet that
/// are not whole inches stay a decimal where one will do, e.g. `1.2 ft (0.366 m)`.
#[must_use]
pub fn distance_as_asked(m: f64, in_feet: bool) -> String {
    if !in_feet {
        return format!("{} ({})", metres(m), feet(m));
    }
    let tenths = m * FEET_PER_METRE * 10.0;
    let is_whole = |value: f64| (value - value.round()).abs() < 1e-6;
    let asked = if is_whole(tenths) && hundredths_of_inches(m) % 100.0 != 0.0 {
        format!("{} ft", trimmed(tenths / 10.0, 1))
    } else {
        feet_and_inches(m)
    };
    format!("{asked} ({})", metres(m))
}

/// A distance from which on something holds, in metres and feet, e.g. `0.653 m (2.2 ft)`. Both are rounded up, so that it
/// holds at the printed distance too.
#[must_use]
pub fn distance_from(m: f64) -> String {
    bound(m, f64::ceil, -NOISE)
}

/// A distance up to which something holds, in metres and feet, e.g. `2 m (6.5 ft)`. Both are rounded down, so that it
/// holds at the printed distance too.
#[must_use]
pub fn distance_up_to(m: f64) -> String {
    bound(m, f64::floor, NOISE)
}

/// What is beyond a last figure by less than this part of its step is noise of the arithmetic, not worth the next figure.
const NOISE: f64 = 1e-6;

/// A distance whose figures are rounded to one side: three of them in metres, tenths in feet, whole numbers from 100 on,
/// so that from 10 ft on feet cost at most a hundredth.
fn bound(m: f64, round: fn(f64) -> f64, noise: f64) -> String {
    let rounded = |value: f64, decimals: usize| {
        let step = [1.0, 10.0, 100.0, 1000.0][decimals.min(3)];
        round(value * step + noise) / step
    };
    let metres_decimals = match m {
        _ if m < 1.0 => 3,
        _ if m < 10.0 => 2,
        _ if m < 100.0 => 1,
        _ => 0,
    };
    let feet = m * FEET_PER_METRE;
    let tenths = rounded(feet, 1);
    let feet = match tenths {
        _ if tenths < 9.95 => format!("{tenths:.1}"),
        _ if tenths < 100.0 => trimmed(tenths, 1),
        _ => format!("{:.0}", rounded(feet, 0)),
    };
    let metres = trimmed(rounded(m, metres_decimals), metres_decimals);
    format!("{metres} m ({feet} ft)")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 ft is 0.3048 m (definition): 2.1 ft would be 0.640 m, nearer than 0.653 m; 10 ft is 3.048 m.
    #[test]
    fn a_distance_from_which_something_holds_is_rounded_up() {
        for (m, words) in [
            (0.653, "0.653 m (2.2 ft)"),
            (0.653 + 1e-13, "0.653 m (2.2 ft)"),
            (1.0 / (1.0 / 0.653), "0.653 m (2.2 ft)"),
            (0.653_01, "0.654 m (2.2 ft)"),
            (0.622_278_5, "0.623 m (2.1 ft)"),
            (0.3048, "0.305 m (1.0 ft)"),
            (0.999_6, "1 m (3.3 ft)"),
            (1.201, "1.21 m (4.0 ft)"),
            (3.048, "3.05 m (10 ft)"),
            (3.04, "3.04 m (10 ft)"),
            (3.08, "3.08 m (10.2 ft)"),
            (9.999, "10 m (32.9 ft)"),
            (12.0, "12 m (39.4 ft)"),
            (250.2, "251 m (821 ft)"),
        ] {
            assert_eq!(distance_from(m), words, "{m}");
        }
    }

    /// 2 m are 6.56 ft, 0.38 m are 1.247 ft.
    #[test]
    fn a_distance_up_to_which_something_holds_is_rounded_down() {
        for (m, words) in [
            (2.0, "2 m (6.5 ft)"),
            (1.0 / (1.0 / 3.048), "3.04 m (10 ft)"),
            (0.38, "0.38 m (1.2 ft)"),
            (12.06, "12 m (39.5 ft)"),
        ] {
            assert_eq!(distance_up_to(m), words, "{m}");
        }
    }

    /// What is printed is never on the wrong side of what was meant, over three decades, and from 10 ft on at most a
    /// hundredth away.
    #[test]
    fn bounds_hold_at_what_is_printed() {
        for step in 0..3000 {
            let m = 0.2 * 1.003_f64.powi(step);
            for (words, side) in [(distance_from(m), 1.0), (distance_up_to(m), -1.0)] {
                let (metres, feet) = words.split_once(" m (").expect("metres and feet");
                let metres: f64 = metres.parse().expect("a number");
                let feet: f64 = feet.trim_end_matches(" ft)").parse().expect("a number");
                let from_feet = feet / FEET_PER_METRE;
                // A millionth of the step of the coarsest figure, which is 1.
                assert!(
                    (metres - m) * side > -1e-6 && (from_feet - m) * side > -1e-6,
                    "{m}: {words}"
                );
                if feet >= 10.0 {
                    assert!((from_feet / m - 1.0).abs() < 0.0101, "{m}: {words}");
                }
            }
        }
    }

    /// 1 in is 0.0254 m, 12 of them a foot (definitions).
    #[test]
    fn feet_and_inches_are_exact() {
        for (inches, words) in [
            (126.0, "10 ft 6 in"),
            (120.0, "10 ft"),
            (9.0, "9 in"),
            (33.0, "2 ft 9 in"),
            (14.96, "1 ft 2.96 in"),
            (23.999, "2 ft"),
        ] {
            assert_eq!(feet_and_inches(inches * 0.0254), words);
            let by_dioptres = 1.0 / (1.0 / (inches * 0.0254));
            assert_eq!(feet_and_inches(by_dioptres), words);
        }
        for (m, in_feet, words) in [
            (3.0, false, "3 m (9.8 ft)"),
            (118.0 * 0.0254, true, "9 ft 10 in (3 m)"),
            (4.5 * 0.3048, true, "4 ft 6 in (1.37 m)"),
            (1.2 * 0.3048, true, "1.2 ft (0.366 m)"),
            (3.048, true, "10 ft (3.05 m)"),
        ] {
            assert_eq!(distance_as_asked(m, in_feet), words);
        }
    }
}
