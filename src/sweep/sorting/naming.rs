//! What file names say: the counter of the camera or program that named them, and the time, where that is the name.

use time::{Date, Month, PrimitiveDateTime, Time};

/// Last number of a counter of four digits; 0001 follows it (DCF, from memory).
const COUNTER_END: u64 = 9999;
/// Numbers that may be missing at either side of that step.
const AROUND_THE_END: u64 = 20;

/// The numbers of files on their card, as their names count. Where all names are alike but for digits, it is the last run
/// of digits that differs: `frame7_85mm.jpg` is 7. Elsewhere it is the last run, but not the `(1)` of a copy. `None` where
/// a name holds no digits, or the clock.
pub(in crate::sweep) fn counters<'a>(files: impl IntoIterator<Item = &'a str>) -> Vec<Option<u64>> {
    let names: Vec<Name> = files.into_iter().map(Name::of).collect();
    let Some(first) = names.first() else {
        return Vec::new();
    };
    let differs = |run: usize| names.iter().any(|name| name.runs[run] != first.runs[run]);
    if names.len() < 2 || names.iter().any(|name| name.shape != first.shape) {
        return names.iter().map(Name::number).collect();
    }
    let clock = first.clock();
    let Some(counting) = (0..first.runs.len()).rev().find(|&run| differs(run)) else {
        return names.iter().map(Name::number).collect();
    };
    if clock.is_some_and(|(from, runs)| (from..from + runs).any(differs)) {
        return vec![None; names.len()];
    }
    let number = |name: &Name| name.runs[counting].parse().ok();
    names.iter().map(number).collect()
}

/// From one number of a counter to another, as steps; cameras count on from 9999 to 1.
pub(in crate::sweep) fn steps(from: u64, to: u64) -> i64 {
    let signed = |number: u64| i64::try_from(number).unwrap_or(i64::MAX / 4);
    let turns = from <= COUNTER_END && from + AROUND_THE_END > COUNTER_END && to <= AROUND_THE_END;
    let round = if turns { signed(COUNTER_END) } else { 0 };
    signed(to).saturating_add(round) - signed(from)
}

/// Whether the counter of some files ran over its end: so many, from the front in the order of their numbers, come
/// after all others. 0 where it did not.
pub(super) fn ran_over(numbers: &[Option<u64>]) -> usize {
    let (Some(Some(first)), Some(Some(last))) = (numbers.first(), numbers.last()) else {
        return 0;
    };
    if steps(*last, *first) <= 0 {
        return 0;
    }
    let gap = |pair: &[Option<u64>]| Some(pair[1]?.saturating_sub(pair[0]?));
    let widest = (1..numbers.len()).max_by_key(|&at| gap(&numbers[at - 1..=at]));
    widest.unwrap_or(0)
}

/// The time that a name holds, s since 1970 by the camera's clock, and whether it is whole seconds only: a date of eight
/// digits and a time of six, or of nine with thousandths (`20260403_101530.jpg`, `2026-04-03 10.15.30.jpg`).
pub(super) fn time_in(file: &str) -> Option<(f64, bool)> {
    let name = Name::of(file);
    let (from, runs) = name.clock()?;
    let digits: String = name.runs[from..from + runs].concat();
    let moment = moment(&digits)?.assume_utc();
    let thousandths: Option<f64> = digits.get(14..17).and_then(|digits| digits.parse().ok());
    Some((
        moment.unix_timestamp() as f64 + thousandths.unwrap_or(0.0) / 1000.0,
        thousandths.is_none(),
    ))
}

/// A name taken apart.
struct Name<'a> {
    /// The name without its ending, in small letters, each run of digits replaced by `#`.
    shape: String,
    /// The runs of digits.
    runs: Vec<&'a str>,
}

impl<'a> Name<'a> {
    fn of(file: &'a str) -> Self {
        let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
        let mut shape = String::new();
        let mut runs = Vec::new();
        let mut start = None;
        for (at, c) in stem.char_indices() {
            match (c.is_ascii_digit(), start) {
                (true, None) => start = Some(at),
                (false, Some(from)) => {
                    runs.push(&stem[from..at]);
                    shape.push('#');
                    start = None;
                }
                _ => {}
            }
            if !c.is_ascii_digit() {
                shape.extend(c.to_lowercase());
            }
        }
        if let Some(from) = start {
            runs.push(&stem[from..]);
            shape.push('#');
        }
        Self { shape, runs }
    }

    /// The number of a name that is seen alone.
    fn number(&self) -> Option<u64> {
        if self.clock().is_some() {
            return None;
        }
        // Downloads and copies put a number in brackets behind the name.
        let is_copy = self.shape.ends_with("# (#)") || self.shape.ends_with("#(#)");
        let back = if is_copy { 2 } else { 1 };
        let at = self.runs.len().checked_sub(back)?;
        self.runs[at].parse().ok()
    }

    /// Which runs are a date with a time: the first of them, and how many.
    fn clock(&self) -> Option<(usize, usize)> {
        let lengths: Vec<usize> = self.runs.iter().map(|run| run.len()).collect();
        let patterns: [&[usize]; 6] = [
            &[8, 6],
            &[8, 9],
            &[14],
            &[4, 2, 2, 2, 2, 2],
            &[4, 2, 2, 6],
            &[8, 2, 2, 2],
        ];
        (0..lengths.len()).find_map(|from| {
            let fits = |pattern: &&&[usize]| lengths[from..].starts_with(pattern);
            let runs = patterns.iter().find(fits)?.len();
            moment(&self.runs[from..from + runs].concat()).map(|_| (from, runs))
        })
    }
}

/// A moment written as 14 digits or more, from the year down; from 1990 on, so that few numbers are taken for one.
fn moment(digits: &str) -> Option<PrimitiveDateTime> {
    let part = |from: usize, to: usize| digits.get(from..to)?.parse::<u16>().ok();
    let two = |from: usize| part(from, from + 2).and_then(|n| u8::try_from(n).ok());
    let year = part(0, 4).filter(|year| (1990..2100).contains(year))?;
    let month = Month::try_from(two(4)?).ok()?;
    let date = Date::from_calendar_date(i32::from(year), month, two(6)?).ok()?;
    let time = Time::from_hms(two(8)?, two(10)?, two(12)?).ok()?;
    Some(PrimitiveDateTime::new(date, time))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(files: &[&str]) -> Vec<Option<u64>> {
        counters(files.iter().copied())
    }

    #[test]
    fn counters_of_several_namings() {
        for (files, wanted) in [
            (&["DSC_0001.JPG", "DSC_0002.JPG"][..], &[1, 2][..]),
            (&["_DSC0001.JPG", "_dsc0002.jpg"], &[1, 2]),
            (&["IMG_9999.JPG", "IMG_0001.JPG"], &[9999, 1]),
            (&["P1010998.JPG", "P1010999.JPG"], &[1_010_998, 1_010_999]),
            (&["R0000009.JPG", "R0000010.JPG"], &[9, 10]),
            (&["DSCF0001.JPG"], &[1]),
            (&["frame9.jpg", "frame10.jpg"], &[9, 10]),
            // What stays the same counts nothing.
            (&["frame9_85mm.jpg", "frame10_85mm.jpg"], &[9, 10]),
            (&["007 2026-04-03.jpg", "008 2026-04-03.jpg"], &[7, 8]),
            (&["2026-04-03_0009.jpg", "2026-04-03_0010.jpg"], &[9, 10]),
            (&["sweep 85 (9).jpg", "sweep 85 (10).jpg"], &[9, 10]),
            (&["20260403_101530_7.jpg", "20260403_101530_8.jpg"], &[7, 8]),
            // A copy has the number of its original.
            (&["IMG_0012.JPG", "IMG_0012 (1).JPG"], &[12, 12]),
            (&["Copy of IMG_0012.JPG", "IMG_0012.JPG"], &[12, 12]),
            (&["é7.jpg"], &[7]),
        ] {
            let wanted: Vec<_> = wanted.iter().copied().map(Some).collect();
            assert_eq!(numbers(files), wanted, "{files:?}");
        }
        assert_eq!(numbers(&["frame.png", "other.png"]), [None, None]);
        assert_eq!(numbers(&[]), []);
    }

    #[test]
    fn a_clock_in_a_name_is_no_counter() {
        for (file, fraction) in [
            ("20260403_101530.jpg", 0.0),
            ("IMG_20260403_101530.jpg", 0.0),
            ("PXL_20260403_101530250.jpg", 0.25),
            ("20260403101530.JPG", 0.0),
            ("2026-04-03 10.15.30.jpg", 0.0),
            ("Photo 2026-04-03 at 10-15-30 (1).jpg", 0.0),
        ] {
            // 2026-04-03 10:15:30 is 20 546 days and 36 930 s after 1970.
            let wanted = 20_546.0 * 86_400.0 + 36_930.0 + fraction;
            let (found, whole) = time_in(file).expect("a time");
            assert!((found - wanted).abs() < 1e-6, "{file}: {found}");
            assert_eq!(whole, !file.starts_with("PXL"), "{file}");
            assert_eq!(numbers(&[file]), [None], "{file}");
        }
        assert_eq!(
            numbers(&["20260403_101559.jpg", "20260403_101600.jpg"]),
            [None, None]
        );
        for none in ["20261303_101530.jpg", "20260403_106030.jpg", "IMG_0001.JPG"] {
            assert_eq!(time_in(none), None, "{none}");
        }
    }

    #[test]
    fn counters_run_over_their_end() {
        assert_eq!(steps(9999, 1), 1);
        assert_eq!(steps(9990, 3), 12);
        assert_eq!(
            (steps(12, 10), steps(10, 12), steps(4000, 1)),
            (-2, 2, -3999)
        );
        let some = |numbers: &[u64]| numbers.iter().copied().map(Some).collect::<Vec<_>>();
        assert_eq!(ran_over(&some(&[1, 2, 3, 9998, 9999])), 3);
        assert_eq!(ran_over(&some(&[1, 2, 3, 9000])), 0);
        assert_eq!(ran_over(&some(&[7])), 0);
        assert_eq!(ran_over(&[]), 0);
    }
}
