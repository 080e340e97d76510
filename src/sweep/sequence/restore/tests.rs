//! Sweeps whose files run another way.

use super::*;

/// A sweep from closest focus at 0.85 m to infinity, targets at 2 m: blur falls, rises; separation falls.
fn sweep(n: usize, breathing_px: f64) -> Vec<Look> {
    (0..n)
        .map(|i| {
            let d = 1.18 * (1.0 - i as f64 / (n - 1) as f64);
            let blur = 70.0 * (d - 0.5);
            Look {
                separation: 1500.0 + breathing_px * d,
                variance: 240.0 + blur * blur / 16.0,
            }
        })
        .collect()
}

/// Visits every place once when `step` shares no factor with `n`.
fn shuffle(n: usize, step: usize) -> Vec<usize> {
    (0..n).map(|i| (i * step + 3) % n).collect()
}

#[test]
fn good_sweeps_are_left_alone() {
    for (n, breathing) in [(8, 25.0), (36, 25.0), (36, 0.0), (36, -8.0), (120, 60.0)] {
        assert_eq!(
            by_blur(&sweep(n, breathing), Ends::default(), false),
            None,
            "{n} {breathing}"
        );
    }
}

#[test]
fn shuffled_sweeps_come_back_in_order() {
    for (n, step) in [(12, 5), (24, 7), (37, 10)] {
        let order = shuffle(n, step);
        let good = sweep(n, 25.0);
        let looks: Vec<Look> = order.iter().map(|&i| good[i]).collect();
        // The blur is half as wide again at closest focus as at infinity, which the set-up explains; otherwise targets that
        // stand nearer would.
        let set_up = Ends {
            near_over_far: Some(1.15 / 0.85),
            nominal_px: None,
        };
        let unknown = by_blur(&looks, Ends::default(), false).expect("shuffled");
        assert_eq!(unknown.how, Restored::EitherWay);
        let arranged = by_blur(&looks, set_up, false).expect("shuffled");
        assert_eq!(arranged.how, Restored::SortedByBlur);
        assert_eq!(arranged.sequence, unknown.sequence);
        let back: Vec<usize> = arranged.sequence.iter().map(|&at| order[at]).collect();
        assert_eq!(back, (0..n).collect::<Vec<_>>(), "{n}");
    }
}

#[test]
fn without_breathing_a_shuffle_stays_doubtful() {
    let order = shuffle(24, 7);
    let good = sweep(24, 0.0);
    let looks: Vec<Look> = order.iter().map(|&i| good[i]).collect();
    assert_eq!(
        by_blur(&looks, Ends::default(), false).map(|a| a.how),
        Some(Restored::Doubtful)
    );
}

#[test]
fn backwards_by_blur_when_the_set_up_says_so() {
    let mut looks = sweep(36, 25.0);
    looks.reverse();
    let known = Ends {
        near_over_far: Some(1.15 / 0.85),
        nominal_px: None,
    };
    assert_eq!(
        by_blur(&looks, known, false).map(|a| a.how),
        Some(Restored::ReversedByBlur)
    );
    looks.reverse();
    assert_eq!(by_blur(&looks, known, false), None);
}

/// Closest focus at 0.9 m: with targets at 1.2 m the blur is three times as wide at infinity as there, as in a sweep that runs
/// backwards; with targets at 1.6 m a quarter wider, at 2 m narrower.
#[test]
fn nothing_known_leaves_files_in_their_order() {
    for (target, how) in [
        (1.2, Some(Restored::MaybeBackwards)),
        (1.6, Some(Restored::HardlyBackwards)),
        (2.0, None),
    ] {
        let looks: Vec<Look> = (0..24)
            .map(|i| {
                let d = (1.0 - f64::from(i) / 23.0) / 0.9;
                Look {
                    separation: 1500.0 + 25.0 * d,
                    variance: 240.0 + (70.0 * (d - 1.0 / target)).powi(2) / 16.0,
                }
            })
            .collect();
        let found = by_blur(&looks, Ends::default(), false);
        assert_eq!(found.as_ref().map(|found| found.how), how, "{target}");
        let filed: Vec<usize> = (0..24).collect();
        assert!(found.is_none_or(|found| found.sequence == filed));
        let known = Ends {
            near_over_far: Some((target - 0.9) / 0.9),
            nominal_px: None,
        };
        assert_eq!(by_blur(&looks, known, false), None);
    }
}

/// Targets nearer than twice closest focus: the blur is wider at infinity, so that a sweep which ends short of it looks
/// like one that runs backwards. The pupil's size tells; without it only a good fit counts as backwards.
#[test]
fn a_sweep_that_ends_short_is_not_turned() {
    // Closest focus, target and last frame, m, of a pupil in the sensor plane that blurs 70 px a dioptre.
    for (closest, target, end) in [
        (0.85, 1.5, 3.0),
        (0.9, 1.5, 3.0),
        (0.8, 1.2, 4.0),
        (0.8, 1.2, f64::INFINITY),
        (0.45, 1.5, 3.0),
    ] {
        let blur = |u: f64| 70.0 * (1.0 / u - 1.0 / target);
        let looks: Vec<Look> = (0..24)
            .map(|i| {
                let d = 1.0 / closest + (1.0 / end - 1.0 / closest) * f64::from(i) / 23.0;
                Look {
                    separation: 1500.0 + 25.0 * d,
                    variance: 240.0 + blur(1.0 / d).powi(2) / 16.0,
                }
            })
            .collect();
        // Blades, vignetting and rounded f-numbers: a tenth either way.
        for off in [0.9, 1.0, 1.1] {
            let known = Ends {
                near_over_far: Some((target - closest) / closest),
                nominal_px: Some((off * blur(closest), off * 70.0 / target)),
            };
            let name = format!("{closest} m to {end} m, targets at {target} m, {off}");
            assert_eq!(by_blur(&looks, known, false), None, "{name}");
            let turned: Vec<Look> = looks.iter().rev().copied().collect();
            let how = by_blur(&turned, known, false).map(|a| a.how);
            // Targets half-way in dioptres look alike from both ends.
            if end.is_infinite() && (target / closest - 2.0).abs() > 0.3 {
                assert_eq!(how, Some(Restored::ReversedByBlur), "{name}");
            }
        }
    }
}

#[test]
fn distances_restore_what_they_contradict() {
    let near_to_far = [Some(2.0), Some(1.5), None, Some(1.5), Some(0.5), Some(0.0)];
    assert_eq!(by_distance(&near_to_far), None);
    let mut backwards = near_to_far;
    backwards.reverse();
    assert_eq!(
        by_distance(&backwards).map(|a| a.how),
        Some(Restored::ReversedByDistance)
    );
    let mixed = [Some(0.5), Some(2.0), Some(0.0), Some(1.0)];
    assert_eq!(
        by_distance(&mixed),
        Some(Arrangement {
            sequence: vec![1, 3, 0, 2],
            how: Restored::SortedByDistance
        })
    );
}

/// Two swapped rows, a slip of the pen, equal distances, a list that runs the other way.
#[test]
fn rows_out_of_line_are_found() {
    let falling: Vec<f64> = (0..12).map(|k| 2.4 - 0.2 * f64::from(k)).collect();
    let told = |values: &[f64]| out_of_line(&values.iter().copied().map(Some).collect::<Vec<_>>());
    let none: [usize; 0] = [];
    assert_eq!(told(&falling), none);
    for (a, b) in [(4, 5), (1, 6), (2, 10)] {
        let mut swapped = falling.clone();
        swapped.swap(a, b);
        assert_eq!(told(&swapped), [a, b]);
    }
    let mut slip = falling.clone();
    slip[3] = 0.1;
    assert_eq!(told(&slip), [3]);
    assert_eq!(told(&[2.0, 2.0, 1.0, 1.0, 0.0, 0.0]), none);
    let rising: Vec<f64> = falling.iter().rev().copied().collect();
    assert_eq!(told(&rising), none);
    assert_eq!(out_of_line(&[None, Some(1.0), None]), none);
    assert_eq!(
        out_of_line(&[Some(2.0), None, Some(0.5), Some(1.0), Some(0.0)]),
        [2, 3]
    );
}

/// Put in order of their blur, near and far frames stand in turn: the blur runs smoothly, the scale does not.
#[test]
fn a_shuffle_that_only_the_scale_shows_is_restored() {
    let looks = sweep(15, 60.0);
    let mut by_blur_alone: Vec<usize> = (0..looks.len()).collect();
    by_blur_alone.sort_by(|&a, &b| looks[b].variance.total_cmp(&looks[a].variance));
    let shuffled: Vec<Look> = by_blur_alone.iter().map(|&at| looks[at]).collect();
    let radius: Vec<f64> = normalised(&shuffled)
        .0
        .iter()
        .map(|place| place.1)
        .collect();
    assert!(turns(&radius, STEP_SHARE) <= TURNS_ALLOWED);
    let arrangement = by_blur(&shuffled, Ends::default(), false).expect("out of order");
    let restored: Vec<usize> = arrangement
        .sequence
        .iter()
        .map(|&at| by_blur_alone[at])
        .collect();
    assert!(restored.iter().copied().eq(0..looks.len()), "{restored:?}");
}
