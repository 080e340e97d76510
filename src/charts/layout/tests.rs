//! Charts of all sizes that may be asked for: what stands where.

use super::*;
use crate::charts::scene::Mark;
use crate::charts::{Series, Theme};
use crate::sweep::ShiftCurve;
use crate::units::Measured;

fn chart(worst_pct: &[f64], width: u32, height: u32, axis: Axis) -> ShiftChart {
    let series = worst_pct
        .iter()
        .enumerate()
        .map(|(number, worst)| Series {
            label: format!("Brackwell {} mm", 24 + 11 * number),
            curve: ShiftCurve::new(
                (0..20)
                    .map(|step| {
                        let travel = f64::from(step) / 19.0;
                        CurvePoint {
                            travel,
                            dioptres: Some(Measured::new(2.5 * (1.0 - travel), 0.01)),
                            shift_pct: Measured::new(worst * (1.0 - travel), 0.01),
                        }
                    })
                    .collect(),
            ),
        })
        .collect();
    ShiftChart {
        title: "Brackwell 24–101 mm".to_owned(),
        notes: vec![
            "Distortion correction on, breathing compensation off, f/8.".to_owned(),
            "Breathmark · lens.example/lenses/brackwell-24-101-mm-f-4-traveller-second-version · CC BY 4.0".to_owned(),
        ],
        series,
        tolerance_pct: 2.0,
        axis,
        theme: Theme::Light,
        width,
        height,
        pull_dioptres: None,
    }
}

/// Left, right, top, bottom of every text.
fn boxes(scene: &Scene) -> Vec<(String, [f64; 4])> {
    scene
        .marks
        .iter()
        .filter_map(|mark| match mark {
            Mark::Text(text) => {
                let width = text_width(&text.words, text.size);
                let left = match text.align {
                    Align::Start => text.at.0,
                    Align::Middle => text.at.0 - width / 2.0,
                    Align::End => text.at.0 - width,
                };
                // Ascenders and descenders fill about one type size.
                let half = text.size / 2.0;
                let sides = [left, left + width, text.at.1 - half, text.at.1 + half];
                Some((text.words.clone(), sides))
            }
            _ => None,
        })
        .collect()
}

#[test]
fn no_two_texts_overlap_and_none_leaves_the_picture() {
    let crowded = [0.1, 0.12, 0.11, -0.1, 4.0, 3.9, 0.0, 0.05];
    for lines in [&crowded[..], &crowded[..2], &[-6.0], &[]] {
        for (width, height) in [
            (320, 240),
            (320, 300),
            // Banners and columns, to the ends of what may be asked for.
            (1920, 400),
            (7680, 240),
            (320, 4320),
            (7680, 4320),
            (720, 420),
            (1200, 675),
            (1920, 1080),
            (3840, 2160),
        ] {
            for axis in [Axis::Distance, Axis::Travel] {
                let scene = lay_out(&chart(lines, width, height, axis));
                let texts = boxes(&scene);
                for (index, (words, a)) in texts.iter().enumerate() {
                    assert!(
                        a[0] >= -0.5
                            && a[1] <= f64::from(width) + 0.5
                            && a[2] >= -0.5
                            && a[3] <= f64::from(height) + 0.5,
                        "{words:?} leaves {width} × {height}: {a:?}"
                    );
                    for (other, b) in &texts[..index] {
                        let apart = a[1] <= b[0] || b[1] <= a[0] || a[3] <= b[2] || b[3] <= a[2];
                        assert!(apart, "{words:?} on {other:?} at {width} × {height}");
                    }
                }
            }
        }
    }
}

#[test]
fn the_shift_has_ticks_on_both_sides_of_zero_in_low_charts() {
    for (width, height) in [(1920, 400), (7680, 240), (640, 260), (310, 135)] {
        let words = boxes(&lay_out(&chart(
            &[4.3, -1.4],
            width,
            height,
            Axis::Distance,
        )));
        let shifts = |sign| {
            words
                .iter()
                .filter(|(w, _)| w.len() < 6 && w.starts_with(sign))
                .count()
        };
        assert!(
            shifts('+') > 0 && shifts('−') > 0,
            "{width} × {height}: {words:?}"
        );
        let feet = words
            .iter()
            .filter(|(words, _)| words.ends_with(" ft"))
            .count();
        assert!(feet > 1, "{width} × {height}: {words:?}");
    }
}

#[test]
fn a_curve_without_distances_is_named_and_not_drawn() {
    let mut chart = chart(&[1.0], 720, 420, Axis::Distance);
    let points = chart.series[0].curve.points().to_vec();
    let unknown = points
        .into_iter()
        .map(|point| CurvePoint {
            dioptres: None,
            ..point
        })
        .collect();
    chart.series[0].curve = ShiftCurve::new(unknown);
    let words: Vec<String> = boxes(&lay_out(&chart)).into_iter().map(|b| b.0).collect();
    assert!(
        words.iter().any(|w| w.contains("distances unknown")),
        "{words:?}"
    );
}

/// Beside a band that is too thin for words, they say what they are about.
#[test]
fn the_label_of_a_thin_band_says_what_it_labels() {
    for (tolerance_pct, label) in [(0.1, "tolerance ± 0.1 %"), (2.0, "± 2 %")] {
        let thin = ShiftChart {
            tolerance_pct,
            ..chart(&[2.0, -2.0, 1.2], 1280, 720, Axis::Distance)
        };
        let labels = boxes(&lay_out(&thin));
        let words: Vec<_> = labels.iter().map(|(words, _)| words.as_str()).collect();
        assert!(words.contains(&label), "{words:?}");
    }
}

/// Curves that leave the band at its ends, where the label would stand if nothing ran there.
#[test]
fn the_tolerance_is_labelled_where_no_line_runs() {
    for worst in [&[2.0, -2.0, 1.2][..], &[9.0, 0.5], &[-1.9]] {
        for (width, height) in [(320, 240), (340, 320), (360, 340), (1280, 720)] {
            let scene = lay_out(&chart(worst, width, height, Axis::Distance));
            let label = boxes(&scene)
                .into_iter()
                .find(|(words, _)| words.ends_with("± 2 %"));
            let (_, [left, right, top, bottom]) = label.expect("a label");
            let steps = |pair: &[(f64, f64)]| {
                let (a, b) = (pair[0], pair[1]);
                (0..=20).map(move |step| {
                    let share = f64::from(step) / 20.0;
                    (a.0 + (b.0 - a.0) * share, a.1 + (b.1 - a.1) * share)
                })
            };
            for mark in &scene.marks {
                let Mark::Path(points, Role::Line(number), _) = mark else {
                    continue;
                };
                for (x, y) in points.windows(2).flat_map(steps) {
                    let inside = (left..=right).contains(&x) && (top..=bottom).contains(&y);
                    assert!(!inside, "line {number} at {width} × {height}, {worst:?}");
                }
            }
        }
    }
}
