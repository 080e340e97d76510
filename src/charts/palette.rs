//! Colours, dashes and markers of the charts. Nothing is told by colour alone.
//!
//! Line colours: M. Okabe and K. Ito, "Color Universal Design", 2008 (jfly.uni-koeln.de/color), from memory; the
//! members with at least 3:1 against the ground (WCAG 2.2, 1.4.11) are used on each ground.

use super::Theme;

/// What a mark of a chart is, and so how it is coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    /// The ground behind everything.
    Ground,
    /// Text that must be read, and the zero line.
    Ink,
    /// Text of the axes.
    Quiet,
    /// Grid lines and leaders.
    Grid,
    /// The tolerance band.
    Band,
    /// The focus pull that is marked.
    Pull,
    /// The line with this number.
    Line(usize),
}

/// Red, green, blue, each 0 to 255.
pub(super) type Rgb = (u8, u8, u8);

/// How many lines differ by colour; beyond that they differ by dash and marker too.
pub(super) const COLOURS: usize = 5;

const LIGHT: [Rgb; COLOURS] = [
    (0x00, 0x72, 0xB2), // blue
    (0xD5, 0x5E, 0x00), // vermillion
    (0x00, 0x9E, 0x73), // bluish green
    (0xCC, 0x79, 0xA7), // reddish purple
    (0x00, 0x00, 0x00), // black
];

const DARK: [Rgb; COLOURS] = [
    (0x56, 0xB4, 0xE9), // sky blue
    (0xE6, 0x9F, 0x00), // orange
    (0x00, 0x9E, 0x73), // bluish green
    (0xCC, 0x79, 0xA7), // reddish purple
    (0xF0, 0xE4, 0x42), // yellow
];

/// The colour of a role on a ground. `Theme::Page` gives a place-holder that the SVG writer turns into a class.
pub(super) fn colour(role: Role, theme: Theme) -> Rgb {
    let (ground, ink, quiet, grid, band, pull, lines) = match theme {
        Theme::Page => return place_holder(role),
        Theme::Light => (
            (0xFD, 0xFD, 0xFB),
            (0x1B, 0x1F, 0x22),
            (0x55, 0x5C, 0x61),
            (0xC9, 0xCD, 0xCF),
            (0xE9, 0xEC, 0xEA),
            (0xF3, 0xE3, 0xD6),
            LIGHT,
        ),
        // Over a picture there is no ground: its colour is that of the rims, and what lies in it is a tint.
        Theme::Clear => (
            (0xFD, 0xFD, 0xFB),
            (0x1B, 0x1F, 0x22),
            (0x2E, 0x34, 0x38),
            (0x7B, 0x83, 0x88),
            (0xFD, 0xFD, 0xFB),
            (0xD5, 0x5E, 0x00),
            LIGHT,
        ),
        Theme::Dark => (
            (0x14, 0x18, 0x1B),
            (0xEC, 0xEE, 0xEE),
            (0xA9, 0xB1, 0xB6),
            (0x3F, 0x47, 0x4C),
            (0x23, 0x2A, 0x2E),
            (0x45, 0x35, 0x28),
            DARK,
        ),
    };
    match role {
        Role::Ground => ground,
        Role::Ink => ink,
        Role::Quiet => quiet,
        Role::Grid => grid,
        Role::Band => band,
        Role::Pull => pull,
        Role::Line(number) => lines[number % COLOURS],
    }
}

/// Class of a role in charts that take their colours from the page's style sheet.
pub(super) fn class(role: Role) -> String {
    match role {
        Role::Ground => "k-ground".to_owned(),
        Role::Ink => "k-ink".to_owned(),
        Role::Quiet => "k-quiet".to_owned(),
        Role::Grid => "k-grid".to_owned(),
        Role::Band => "k-band".to_owned(),
        Role::Pull => "k-pull".to_owned(),
        Role::Line(number) => format!("k-line-{}", number % COLOURS),
    }
}

/// Every role that can stand in a chart.
pub(super) fn all_roles() -> impl Iterator<Item = Role> {
    [
        Role::Ground,
        Role::Ink,
        Role::Quiet,
        Role::Grid,
        Role::Band,
        Role::Pull,
    ]
    .into_iter()
    .chain((0..COLOURS).map(Role::Line))
}

/// A colour that stands for a role and occurs nowhere else.
fn place_holder(role: Role) -> Rgb {
    let number = match role {
        Role::Ground => 0xF0,
        Role::Ink => 0xF1,
        Role::Quiet => 0xF2,
        Role::Grid => 0xF3,
        Role::Band => 0xF4,
        Role::Pull => 0xF5,
        Role::Line(number) => u8::try_from(number % COLOURS).unwrap_or_default(),
    };
    (0xFA, 0xCE, number)
}

/// Lengths of dash and gap in line widths, for the line with this number; the first is solid.
pub(super) fn dash(number: usize) -> &'static [f64] {
    const DASHES: [&[f64]; 4] = [&[], &[5.0, 2.5], &[1.6, 2.2], &[7.0, 2.2, 1.6, 2.2]];
    DASHES[number % DASHES.len()]
}

/// Shape of the marks on a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// A filled circle.
    Circle,
    /// A filled square.
    Square,
    /// A filled triangle, point up.
    Triangle,
    /// A filled square standing on a corner.
    Diamond,
    /// A filled triangle, point down.
    Funnel,
    /// A filled cross.
    Cross,
}

/// The shape of the marks on the line with this number.
pub(super) fn shape(number: usize) -> Shape {
    const SHAPES: [Shape; 6] = [
        Shape::Circle,
        Shape::Square,
        Shape::Triangle,
        Shape::Diamond,
        Shape::Funnel,
        Shape::Cross,
    ];
    SHAPES[number % SHAPES.len()]
}

impl Shape {
    /// Corners of the shape around 0, 0 for a circle of radius 1.
    pub(super) fn corners(self) -> Vec<(f64, f64)> {
        match self {
            Self::Circle => (0..16)
                .map(|step| (f64::from(step) * std::f64::consts::TAU / 16.0).sin_cos())
                .collect(),
            Self::Square => vec![(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)],
            Self::Triangle => vec![(0.0, -1.2), (1.1, 0.8), (-1.1, 0.8)],
            Self::Diamond => vec![(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)],
            Self::Funnel => vec![(0.0, 1.2), (1.1, -0.8), (-1.1, -0.8)],
            Self::Cross => {
                const ARM: f64 = 0.4;
                const END: f64 = 1.2;
                vec![
                    (-ARM, -END),
                    (ARM, -END),
                    (ARM, -ARM),
                    (END, -ARM),
                    (END, ARM),
                    (ARM, ARM),
                    (ARM, END),
                    (-ARM, END),
                    (-ARM, ARM),
                    (-END, ARM),
                    (-END, -ARM),
                    (-ARM, -ARM),
                ]
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast as WCAG 2.2 defines them.
    fn contrast(a: Rgb, b: Rgb) -> f64 {
        let luminance = |(r, g, b): Rgb| {
            let linear = |code: u8| {
                let value = f64::from(code) / 255.0;
                if value <= 0.04045 {
                    value / 12.92
                } else {
                    ((value + 0.055) / 1.055).powf(2.4)
                }
            };
            0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn lines_stand_out_of_ground_and_band_and_text_is_readable() {
        for theme in [Theme::Light, Theme::Dark, Theme::Clear] {
            let ground = colour(Role::Ground, theme);
            for number in 0..COLOURS {
                let line = contrast(colour(Role::Line(number), theme), ground);
                assert!(line >= 3.0, "{theme:?} line {number}: {line:.2}");
            }
            for role in [Role::Ink, Role::Quiet] {
                for behind in [Role::Ground, Role::Band, Role::Pull] {
                    // Over a picture a pull is a tint, and letters stand on their rims.
                    if (theme, behind) == (Theme::Clear, Role::Pull) {
                        continue;
                    }
                    let text = contrast(colour(role, theme), colour(behind, theme));
                    assert!(text >= 4.5, "{theme:?} {role:?} on {behind:?}: {text:.2}");
                }
            }
        }
    }

    /// In grey all colours are one, so dash or marker must part any two of the eight lines that a zoom or a comparison can
    /// have.
    #[test]
    fn lines_are_told_apart_in_grey() {
        for a in 0..8 {
            for b in 0..a {
                assert!(dash(a) != dash(b) || shape(a) != shape(b), "{a} and {b}");
            }
        }
    }

    #[test]
    fn neighbouring_lines_differ_by_more_than_colour() {
        for number in 0..8 {
            assert_ne!(shape(number), shape(number + 1));
            assert_ne!(dash(number), dash(number + 1));
        }
        let looks: Vec<_> = (0..8)
            .map(|n| (shape(n), dash(n).len(), n % COLOURS))
            .collect();
        for (index, look) in looks.iter().enumerate() {
            assert!(!looks[..index].contains(look), "line {index}");
        }
    }
}
