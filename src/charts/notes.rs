//! What stands under a chart that is taken away: conditions, cautions and source, in small type.

use super::draw::text_width;
use super::palette::Role;
use super::scene::{Align, Scene};

/// Size of the type against that of the chart.
const TYPE: f64 = 0.82;
/// Height of a line in type sizes.
const LINE: f64 = 1.35;
/// Holds words together that belong on one line.
const TIE: char = '\u{a0}';
/// Margin at both sides, in type sizes of the chart.
const MARGIN: f64 = 0.6;

/// The lines under a chart.
pub(super) struct Notes {
    lines: Vec<String>,
    /// Type size of the chart, px.
    size: f64,
}

impl Notes {
    /// The notes as lines for a chart of this width and type size, px. Where all of them would take more than `room` px,
    /// the last one alone, which is the source; where that is still too high, none.
    pub(super) fn new(notes: &[String], width: f64, size: f64, room: f64) -> Self {
        let broken = |notes: &[String]| {
            let fits = |line: &str| text_width(line, size * TYPE) <= width - 2.0 * MARGIN * size;
            let lines = notes.iter().flat_map(|note| broken(note, fits)).collect();
            Self { lines, size }
        };
        let last = notes.len().saturating_sub(1);
        let tries = [notes, &notes[last..], &[]];
        let fitting = tries
            .into_iter()
            .map(broken)
            .find(|notes| notes.height() <= room);
        fitting.unwrap_or_else(|| broken(&[]))
    }

    /// What they take at the bottom of the chart, px.
    pub(super) fn height(&self) -> f64 {
        if self.lines.is_empty() {
            return 0.0;
        }
        self.size * (self.lines.len() as f64 * TYPE * LINE + 0.5)
    }

    /// Draws them from this height downwards, px.
    pub(super) fn draw(self, scene: &mut Scene, top: f64) {
        let line = self.size * TYPE * LINE;
        for (number, words) in self.lines.into_iter().enumerate() {
            let at = (self.size * MARGIN, top + line * (number as f64 + 0.5));
            scene.text(at, words, self.size * TYPE, Align::Start, Role::Quiet);
        }
    }
}

/// A note in lines that fit: broken between words, and inside a word where that alone fits no line.
fn broken(note: &str, fits: impl Fn(&str) -> bool) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in note.split(' ') {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if fits(word) {
            lines.push(std::mem::replace(&mut line, word.to_owned()));
            continue;
        }
        if !line.is_empty() {
            line.push(' ');
        }
        for letter in word.chars() {
            line.push(letter);
            if !fits(&line) && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::replace(&mut line, letter.to_string()));
            }
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
        .iter()
        .map(|line| line.trim().replace(TIE, " "))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_break_between_words_and_long_words_anywhere() {
        let fits = |line: &str| line.chars().count() <= 8;
        assert_eq!(broken("a bc def ghijklm", fits), ["a bc def", "ghijklm"]);
        assert_eq!(
            broken("see lens.example/x now", fits),
            ["see lens", ".example", "/x now"]
        );
        assert_eq!(broken("ab cd\u{a0}ef", fits), ["ab cd ef"]);
        assert_eq!(broken("abcd ef\u{a0}gh", fits), ["abcd", "ef gh"]);
        assert!(broken("", fits).is_empty());
        // Nothing fits: a letter a line, and it ends.
        assert_eq!(broken("abc", |_| false), ["a", "b", "c"]);
    }

    #[test]
    fn where_room_is_scarce_the_source_stays_longest() {
        let notes = [
            "Distortion correction on".to_owned(),
            "Breathmark".to_owned(),
        ];
        let lines = |room: f64| Notes::new(&notes, 900.0, 12.0, room).lines.len();
        assert_eq!([lines(60.0), lines(25.0), lines(5.0)], [2, 1, 0]);
        assert!(Notes::new(&[], 900.0, 12.0, 60.0).height() < 1e-9);
    }
}
