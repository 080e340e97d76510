//! Names of makers, lenses, mounts, cameras and people in running words.

use std::borrow::Cow;

/// Begins a stretch of text that has its direction for itself (first strong isolate, Unicode Standard Annex 9).
const ISOLATE: char = '\u{2068}';
/// Ends it.
const END: char = '\u{2069}';

/// A name as it stands in a line of words: one with letters that run from right to left is kept apart, so that figures and
/// signs beside it stay on their side of it. Any other name is as it is.
#[must_use]
pub fn isolated(name: &str) -> Cow<'_, str> {
    if name.chars().any(runs_leftwards) {
        Cow::Owned(format!("{ISOLATE}{name}{END}"))
    } else {
        Cow::Borrowed(name)
    }
}

/// Whether a letter is of a script that runs from right to left: the blocks that the Unicode Standard keeps for them.
const fn runs_leftwards(letter: char) -> bool {
    matches!(letter, '\u{590}'..='\u{8FF}' | '\u{FB1D}'..='\u{FDFF}' | '\u{FE70}'..='\u{FEFF}' | '\u{10800}'..='\u{10FFF}' | '\u{1E800}'..='\u{1EFFF}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_that_run_leftwards_are_kept_apart() {
        for name in ["Ostrel 85 mm f/1.4", "Øster & Søn", "光 50", "Ольха 35"] {
            assert_eq!(isolated(name), name);
        }
        for name in ["Ostrel אור", "\u{FDFA}", "نور 50"] {
            assert_eq!(isolated(name), format!("\u{2068}{name}\u{2069}"));
        }
    }
}
