//! Which part of a zoom was measured.

use super::words;

/// Largest ratio between a marked end of a zoom and the nearest measured focal length that still stands for that end. Marks
/// and what cameras state of them may each be off by 5 % (common practice, no source).
const END_RATIO: f64 = 1.1;

/// What of a lens was not measured, by focal length.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Coverage {
    /// Shortest focal length that was measured, mm, where the lens goes clearly shorter.
    pub nothing_below_mm: Option<f64>,
    /// Longest focal length that was measured, mm, where the lens goes clearly longer.
    pub nothing_above_mm: Option<f64>,
}

impl Coverage {
    /// What is missing of a lens from `shortest_mm` to `longest_mm` where these focal lengths (mm) were measured; nothing
    /// where none was.
    #[must_use]
    pub fn of(
        (shortest_mm, longest_mm): (f64, f64),
        measured_mm: impl IntoIterator<Item = f64>,
    ) -> Self {
        let mut ends: Option<(f64, f64)> = None;
        for focal in measured_mm {
            let (low, high) = ends.unwrap_or((focal, focal));
            ends = Some((low.min(focal), high.max(focal)));
        }
        // A prime is measured at the one focal length it has, whatever is marked.
        let Some((low, high)) = ends.filter(|_| longest_mm > shortest_mm) else {
            return Self::default();
        };
        Self {
            nothing_below_mm: (low / shortest_mm > END_RATIO).then_some(low),
            nothing_above_mm: (longest_mm / high > END_RATIO).then_some(high),
        }
    }

    /// What is missing in a few words, e.g. "measured at 28 mm only", "nothing measured above 100 mm"; `None` where nothing
    /// is. `count` focal lengths were measured.
    #[must_use]
    pub fn words(&self, count: usize) -> Option<String> {
        let (below, above) = (self.nothing_below_mm, self.nothing_above_mm);
        let only = below.or(above)?;
        if count == 1 {
            return Some(format!("measured at {} only", words::focal_length(only)));
        }
        let parts = [("below", below), ("above", above)];
        let parts = parts.into_iter().filter_map(|(side, end)| {
            let end = words::focal_length(end?);
            Some(format!("{side} {end}"))
        });
        let parts: Vec<String> = parts.collect();
        Some(format!("nothing measured {}", parts.join(" and ")))
    }

    /// The same as a sentence after a blank; empty where nothing is missing.
    pub(super) fn sentence(&self, count: usize) -> String {
        match self.words(count) {
            None => String::new(),
            Some(_) if count == 1 => " No other focal length was measured.".to_owned(),
            Some(words) => format!(" {}.", words.replacen("nothing", "Nothing was", 1)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_that_were_not_measured_are_said() {
        for (range, measured, words) in [
            ((28.0, 135.0), &[28.0][..], Some("measured at 28 mm only")),
            ((28.0, 135.0), &[50.0], Some("measured at 50 mm only")),
            (
                (28.0, 135.0),
                &[28.0, 50.0, 100.0],
                Some("nothing measured above 100 mm"),
            ),
            (
                (28.0, 135.0),
                &[135.0, 50.0],
                Some("nothing measured below 50 mm"),
            ),
            (
                (28.0, 135.0),
                &[50.0, 85.0],
                Some("nothing measured below 50 mm and above 85 mm"),
            ),
            // What cameras state may be off by 5 %.
            ((24.0, 105.0), &[24.5, 50.0, 100.0], None),
            ((50.0, 50.0), &[52.0], None),
            ((28.0, 135.0), &[], None),
        ] {
            let coverage = Coverage::of(range, measured.iter().copied());
            assert_eq!(coverage.words(measured.len()).as_deref(), words);
        }
        let part = Coverage::of((28.0, 135.0), [28.0, 100.0]);
        assert_eq!(part.sentence(2), " Nothing was measured above 100 mm.");
        assert_eq!(part.sentence(1), " No other focal length was measured.");
    }
}
