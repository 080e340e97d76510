//! Distances in feet and inches, as tapes and lens barrels have them, and distances that bound something: rounded to the
//! side on which it holds.

use super::trimmed;
use crate::units::FEET_PER_METRE;

/// A distance in feet and inches, rounded to less than a hundredth, e.g. `3 ft 3.4 in`, `11.8 in`, `39 ft 4 in`.
#[must_use]
pub fn feet(m: f64) -> String {
    stepped(m, f64::round, 0.0)
}

/// A distance in feet and inches, to a hundredth of an inch, e.g. `10 ft 6 in`, `10 ft`, `9 in`, `1 ft 2.96 in`.
#[must_use]
pub fn feet_and_inches(m: f64) -> String {
    parted(hundredths_of_inches(m))
}

/// Hundredths of an inch as feet and inches; whole ones, so that no 12 in are left over.
fn parted(hundredths: f64) -> String {
    let feet = (hundredths / 1200.0).floor();
    let inches = trimmed((hundredths - 1200.0 * feet) / 100.0, 2);
    match (feet > 0.0, inches.as_str()) {
        (true, "0") => format!("{feet:.0} ft"),
        (true, _) => format!("{feet:.0} ft {inches} in"),
        (false, _) => format!("{inches} in"),
    }
}

fn hundredths_of_inches(m: f64) -> f64 {
    (m * FEET_PER_METRE * 1200.0).round()
}

/// A distance in feet and inches whose last figure is rounded one way: a step is a hundredth of the distance at most, in
/// tenths of inches below 50 in, halves below 100 in, whole inches below 100 ft, whole feet beyond.
fn stepped(m: f64, round: fn(f64) -> f64, noise: f64) -> String {
    let inches = m * FEET_PER_METRE * 12.0;
    let step = match inches {
        _ if inches < 10.0 => 0.01,
        _ if inches < 50.0 => 0.1,
        _ if inches < 100.0 => 0.5,
        _ if inches < 1200.0 => 1.0,
        _ => 12.0,
    };
    parted((round(inches / step + noise) * step * 100.0).round())
}

/// A distance that somebody asked for, in the unit they used and in no other: rounded in another, it would contradict a
/// limit beside it. E.g. `3 m`, `9 ft 10 in`; feet that are not whole inches stay a decimal where one will do, e.g. `1.2 ft`.
#[must_use]
pub fn distance_as_asked(m: f64, in_feet: bool) -> String {
    if !in_feet {
        return format!("{} m", trimmed(m, 3));
    }
    let tenths = m * FEET_PER_METRE * 10.0;
    let is_whole = |value: f64| (value - value.round()).abs() < 1e-6;
    if is_whole(tenths) && hundredths_of_inches(m) % 100.0 != 0.0 {
        format!("{} ft", trimmed(tenths / 10.0, 1))
    } else {
        feet_and_inches(m)
    }
}

/// A distance from which on something holds, in metres and feet, e.g. `0.653 m (2 ft 1.8 in)`. Both are rounded up, so
/// that it holds at the printed distance too.
#[must_use]
pub fn distance_from(m: f64) -> String {
    bound(m, f64::ceil, -NOISE)
}

/// A distance up to which something holds, in metres and feet, e.g. `2 m (6 ft 6.5 in)`. Both are rounded down, so that it
/// holds at the printed distance too.
#[must_use]
pub fn distance_up_to(m: f64) -> String {
    bound(m, f64::floor, NOISE)
}

/// What is beyond a last figure by less than this part of its step is noise of the arithmetic, not worth the next figure.
const NOISE: f64 = 1e-6;

/// Decimals that a distance in metres is told with.
fn decimals(m: f64) -> usize {
    match m {
        _ if m < 1.0 => 3,
        _ if m < 10.0 => 2,
        _ if m < 100.0 => 1,
        _ => 0,
    }
}

/// A distance whose figures are rounded to one side: three of them in metres, feet and inches to less than a hundredth.
fn bound(m: f64, round: fn(f64) -> f64, noise: f64) -> String {
    let decimals = decimals(m);
    let step = [1.0, 10.0, 100.0, 1000.0][decimals];
    let metres = trimmed(round(m * step + noise) / step, decimals);
    format!("{metres} m ({})", stepped(m, round, noise))
}

/// A distance as [`distance_from`] has it, with all the decimals that its metres are rounded to, to stand beside an
/// uncertainty: `0.710 m (…)` beside `0.001 m`.
#[must_use]
pub fn distance_from_in_full(m: f64) -> String {
    let told = distance_from(m);
    match told.split_once(" m") {
        Some((metres, rest)) => format!("{} m{rest}", in_full(metres, decimals(m))),
        None => told,
    }
}

/// The uncertainty of a distance, both in m: as many decimals as the distance is rounded to, rounded up. One that is larger
/// than half of the distance is not as large to both sides, so it has no figure.
#[must_use]
pub fn uncertainty_of(m: f64, u: f64) -> String {
    if u > m / 2.0 {
        return "more than half of it".to_owned();
    }
    let decimals = decimals(m);
    let step = [1.0, 10.0, 100.0, 1000.0][decimals];
    format!(
        "{:.decimals$} m",
        ((u * step - NOISE).ceil() / step).max(1.0 / step)
    )
}

/// A number with this many decimals.
fn in_full(number: &str, decimals: usize) -> String {
    let known = number.split_once('.').map_or(0, |(_, part)| part.len());
    let point = if known == 0 && decimals > 0 { "." } else { "" };
    format!(
        "{number}{point}{}",
        "0".repeat(decimals.saturating_sub(known))
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_distance_has_no_fewer_decimals_than_its_uncertainty() {
        for (m, u, distance, uncertainty) in [
            (0.71, 0.0006, "0.710 m", "0.001 m"),
            (0.461, 0.0042, "0.461 m", "0.005 m"),
            (4.27, 0.0008, "4.27 m", "0.01 m"),
            (2.0, 0.25, "2.00 m", "0.25 m"),
            (12.0, 0.04, "12.0 m", "0.1 m"),
            (250.0, 3.2, "250 m", "4 m"),
            (12.6, 37.6, "12.6 m", "more than half of it"),
        ] {
            let told = distance_from_in_full(m);
            assert!(told.starts_with(&format!("{distance} (")), "{m}: {told}");
            assert_eq!(uncertainty_of(m, u), uncertainty, "{m}");
        }
    }

    /// An inch is 0.0254 m, a foot 12 of them (definitions): 0.653 m are 25.71 in, 3.04 m 119.69 in, 250.2 m 820.9 ft.
    #[test]
    fn a_distance_from_which_something_holds_is_rounded_up() {
        for (m, words) in [
            (0.653, "0.653 m (2 ft 1.8 in)"),
            (0.653 + 1e-13, "0.653 m (2 ft 1.8 in)"),
            (1.0 / (1.0 / 0.653), "0.653 m (2 ft 1.8 in)"),
            (0.653_01, "0.654 m (2 ft 1.8 in)"),
            (0.0934, "0.094 m (3.68 in)"),
            (0.3048, "0.305 m (1 ft)"),
            (0.9996, "1 m (3 ft 3.4 in)"),
            (1.201, "1.21 m (3 ft 11.3 in)"),
            (1.3, "1.3 m (4 ft 3.5 in)"),
            (3.048, "3.05 m (10 ft)"),
            (3.04, "3.04 m (10 ft)"),
            (3.08, "3.08 m (10 ft 2 in)"),
            (9.999, "10 m (32 ft 10 in)"),
            (250.2, "251 m (821 ft)"),
        ] {
            assert_eq!(distance_from(m), words, "{m}");
        }
    }

    /// 2 m are 78.74 in, 0.38 m 14.961 in.
    #[test]
    fn a_distance_up_to_which_something_holds_is_rounded_down() {
        for (m, words) in [
            (2.0, "2 m (6 ft 6.5 in)"),
            (1.0 / (1.0 / 3.048), "3.04 m (10 ft)"),
            (0.38, "0.38 m (1 ft 2.9 in)"),
            (12.06, "12 m (39 ft 6 in)"),
        ] {
            assert_eq!(distance_up_to(m), words, "{m}");
        }
    }

    /// Metres from feet and inches in words.
    fn metres_in(words: &str) -> f64 {
        let (mut m, mut number) = (0.0, 0.0);
        for word in words.split(' ') {
            match word {
                "ft" => m += number * 0.3048,
                "in" => m += number * 0.0254,
                figure => number = figure.parse().expect("a number"),
            }
        }
        m
    }

    /// What is printed is never on the wrong side of what was meant, over three decades, and never more than a hundredth
    /// away.
    #[test]
    fn bounds_hold_at_what_is_printed() {
        for step in 0..4000 {
            let m = 0.05 * 1.002_5_f64.powi(step);
            for (words, side) in [(distance_from(m), 1.0), (distance_up_to(m), -1.0)] {
                let (in_metres, in_feet) = words.split_once(" m (").expect("metres and feet");
                let in_metres: f64 = in_metres.parse().expect("a number");
                let from_feet = metres_in(in_feet.trim_end_matches(')'));
                // A millionth of the step of the coarsest figure, which is 1 m.
                assert!(
                    (in_metres - m) * side > -1e-6 && (from_feet - m) * side > -1e-6,
                    "{m}: {words}"
                );
                // The finest figure of metres is 0.001, which is more than a hundredth below 0.1 m.
                assert!(
                    m < 0.1 || (in_metres / m - 1.0).abs() < 0.0101,
                    "{m}: {words}"
                );
                assert!((from_feet / m - 1.0).abs() < 0.0101, "{m}: {words}");
            }
            assert!((metres_in(&feet(m)) / m - 1.0).abs() < 0.005_01, "{m}");
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
            (3.0, false, "3 m"),
            (1.0 / (1.0 / 0.379), false, "0.379 m"),
            (118.0 * 0.0254, true, "9 ft 10 in"),
            (4.5 * 0.3048, true, "4 ft 6 in"),
            (1.2 * 0.3048, true, "1.2 ft"),
            (3.048, true, "10 ft"),
        ] {
            assert_eq!(distance_as_asked(m, in_feet), words);
        }
    }
}
