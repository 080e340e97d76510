//! Whether blur and distances show how the focus ran.

use super::*;

/// Settings of a sweep in dioptres: marks set by hand; a bracket that stands at infinity for its last frames.
const RUNS: [[f64; 12]; 2] = [
    [
        2.2, 2.0, 1.67, 1.43, 1.25, 1.0, 0.67, 0.5, 0.33, 0.2, 0.1, 0.0,
    ],
    [
        2.0, 1.75, 1.5, 1.25, 1.0, 0.75, 0.5, 0.25, 0.0, 0.0, 0.0, 0.0,
    ],
];

/// Only the last frame shows the same targets as one beside it.
fn only_last(count: usize) -> Vec<bool> {
    (1..=count).map(|frame| frame == count).collect()
}

fn separations(dioptres: &[f64]) -> Vec<Option<(f64, f64)>> {
    let noise = [0.004, -0.006, 0.003, 0.005, -0.004, -0.002];
    dioptres
        .iter()
        .enumerate()
        .map(|(k, d)| Some((1500.0 + 18.0 * d + 2.0 * d * d + noise[k % 6], 0.005)))
        .collect()
}

fn moments(dioptres: &[f64]) -> Vec<Option<(f64, f64)>> {
    let of = |d: &f64| 40.0 + (30.0 * (d - 0.55)).powi(2);
    dioptres
        .iter()
        .map(|d| Some((of(d), 1e-3 * of(d))))
        .collect()
}

#[test]
fn distances_or_blur_show_how_the_focus_ran() {
    for run in RUNS {
        let places = Places::in_order(run.len());
        let stated: Vec<Option<f64>> = run.iter().copied().map(Some).collect();
        let nothing = vec![None; run.len()];
        for (dioptres, off) in [(&stated, 1e-9), (&nothing, 0.35)] {
            let pace = of(&places, dioptres, &separations(&run), &moments(&run), &[])
                .expect("the order is no smooth axis");
            for (frame, d) in run.iter().enumerate() {
                let truth = 11.0 * (run[0] - d) / run[0];
                // By blur, the sharpest frames stand where their separation is.
                assert!((pace[frame] - truth).abs() <= off, "{frame}: {pace:?}");
            }
            assert!(pace.windows(2).all(|pair| pair[0] <= pair[1]));
        }
    }
}

#[test]
fn even_steps_keep_their_order() {
    let even: Vec<f64> = (0..12).map(|k| 2.2 - 0.2 * f64::from(k)).collect();
    let stated: Vec<Option<f64>> = even.iter().copied().map(Some).collect();
    let places = Places::in_order(12);
    assert_eq!(
        of(&places, &stated, &separations(&even), &moments(&even), &[]),
        None
    );
}

/// Even steps, and one three times as long to infinity: a pace where the last frame shows the same targets, else its word
/// alone is none.
#[test]
fn a_long_last_step_is_believed_of_a_sound_frame() {
    let mut run: Vec<f64> = (0..11).map(|k| 1.25 - 0.1 * f64::from(k)).collect();
    run.push(0.0);
    run[10] = 0.25;
    let places = Places::in_order(run.len());
    let nothing = vec![None; run.len()];
    let (separations, moments) = (separations(&run), moments(&run));
    assert_eq!(of(&places, &nothing, &separations, &moments, &[]), None);
    let pace = of(
        &places,
        &nothing,
        &separations,
        &moments,
        &only_last(run.len()),
    )
    .expect("a long step");
    // 0.25 of 1.25 dioptres over eleven steps.
    assert!((pace[11] - pace[10] - 2.2).abs() < 0.1, "{pace:?}");
}

/// A shift so steep that the blur is too coarse an axis for it: 70 px a dioptre.
#[test]
fn a_long_last_step_of_a_steep_shift_is_believed_too() {
    let mut run: Vec<f64> = (0..15).map(|k| 1.25 - 0.0786 * f64::from(k)).collect();
    run.push(0.0);
    let places = Places::in_order(run.len());
    let nothing = vec![None; run.len()];
    let noise = [0.01, -0.02, 0.005, 0.015, -0.01, -0.005];
    let steep: Vec<Option<(f64, f64)>> = run
        .iter()
        .enumerate()
        .map(|(k, d)| Some((864.0 + 69.0 * d + noise[k % 6], 0.008)))
        .collect();
    // Within a few parts in ten thousand, as widths of bright targets are.
    let blurred: Vec<Option<(f64, f64)>> = moments(&run)
        .into_iter()
        .enumerate()
        .map(|(k, moment)| moment.map(|(value, u)| (value * (1.0 + 0.03 * noise[k % 6]), u)))
        .collect();
    let pace = of(&places, &nothing, &steep, &blurred, &only_last(run.len())).expect("a long step");
    let steps = (pace[15] - pace[14]) / (pace[14] - pace[13]);
    assert!((steps - 1.9).abs() < 0.15, "{pace:?}");
    assert_eq!(of(&places, &nothing, &steep, &blurred, &[]), None);
    // Taken for a gap of one whole step before.
    let opened = places.opened(14, 1);
    let pace =
        of(&opened, &nothing, &steep, &blurred, &only_last(run.len())).expect("no whole step");
    let steps = (pace[15] - pace[14]) / (pace[14] - pace[13]);
    assert!((steps - 1.9).abs() < 0.15, "{pace:?}");
}

#[test]
fn too_little_shows_nothing() {
    let places = Places::in_order(12);
    let run = RUNS[0];
    let (nothing, unseen) = (vec![None; 12], vec![None; 12]);
    assert_eq!(
        of(
            &places,
            &nothing,
            &separations(&run),
            &unseen,
            &only_last(run.len())
        ),
        None
    );
    assert_eq!(
        of(&places, &nothing, &unseen, &unseen, &only_last(run.len())),
        None
    );
    let still = vec![Some(0.5); 12];
    assert_eq!(
        of(
            &places,
            &still,
            &separations(&run),
            &unseen,
            &only_last(run.len())
        ),
        None
    );
}

/// A hand that goes on by slightly uneven steps, one of them a long one over the sharpest frame, which is most of what shows that
/// they are uneven: it is believed where its frame shows the same targets.
#[test]
fn a_long_step_of_a_sound_frame_is_believed() {
    let run = [
        2.6, 2.473, 2.371, 2.231, 2.124, 1.989, 1.887, 1.771, 1.636, 1.507, 1.405, 1.287, 0.96,
        0.851, 0.713, 0.604, 0.489, 0.36,
    ];
    let noise = [0.24, -0.3, 0.12, 0.21, -0.15, -0.12];
    let noisy: Vec<Option<(f64, f64)>> = run
        .iter()
        .enumerate()
        .map(|(k, d)| Some((1500.0 + 18.0 * d + 2.0 * d * d + noise[k % 6], 0.3)))
        .collect();
    let moment = |d: &f64| 40.0 + (30.0 * (d - 1.1)).powi(2);
    let moments: Vec<Option<(f64, f64)>> = run
        .iter()
        .map(|d| Some((moment(d), 1e-3 * moment(d))))
        .collect();
    let places = Places::in_order(run.len());
    let nothing = vec![None; run.len()];
    assert_eq!(of(&places, &nothing, &noisy, &moments, &[]), None);
    let sound = vec![true; run.len()];
    let pace = of(&places, &nothing, &noisy, &moments, &sound).expect("a long step");
    // 0.327 dioptres of 2.24 over seventeen steps.
    assert!((pace[12] - pace[11] - 2.48).abs() < 0.15, "{pace:?}");
}
