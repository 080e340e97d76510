//! Frames of one camera that name another lens, or none, in the middle of a sweep: a lens is not changed from one frame to the
//! next, so those stay in their sweep, and a finding tells what the files say.

use super::{FrameInfo, PAUSE_AT_LEAST_S, SHORTEST_SWEEP, interval_s, order, place};

/// Takes stretches of another lens, too short to be sweeps, into the shoot around them, where the camera made no pause to change
/// it. Shoots are frames of one folder, camera and lens.
pub(super) fn odd_ones_taken_in(frames: &[FrameInfo], shoots: Vec<Vec<usize>>) -> Vec<Vec<usize>> {
    let of_one_camera = |a: usize, b: usize| {
        place(&frames[a]) == place(&frames[b]) && frames[a].camera == frames[b].camera
    };
    let mut shoot_of: Vec<usize> = vec![0; frames.len()];
    for (shoot, members) in shoots.iter().enumerate() {
        for &index in members {
            shoot_of[index] = shoot;
        }
    }
    for first in 0..shoots.len() {
        let beside = |shoot: &usize| of_one_camera(shoots[first][0], shoots[*shoot][0]);
        let together: Vec<usize> = (0..shoots.len()).filter(beside).collect();
        // Every group of shoots once.
        if together.len() > 1 && together[0] == first && frames[shoots[first][0]].camera.is_some() {
            take_in(frames, &shoots, together, &mut shoot_of);
        }
    }
    let mut taken: Vec<Vec<usize>> = vec![Vec::new(); shoots.len()];
    for index in shoots.into_iter().flatten() {
        taken[shoot_of[index]].push(index);
    }
    taken.retain(|shoot| !shoot.is_empty());
    taken
}

/// The same among shoots of one camera, the rarest lens first.
fn take_in(
    frames: &[FrameInfo],
    shoots: &[Vec<usize>],
    mut together: Vec<usize>,
    shoot_of: &mut [usize],
) {
    together.sort_by_key(|&shoot| shoots[shoot].len());
    let mut sequence: Vec<usize> = together
        .iter()
        .flat_map(|&shoot| shoots[shoot].iter().copied())
        .collect();
    order::sort(frames, &mut sequence);
    for lens in together {
        let stretches: Vec<Vec<usize>> = sequence
            .chunk_by(|&a, &b| shoot_of[a] == shoot_of[b])
            .map(<[usize]>::to_vec)
            .collect();
        let is_its = |stretch: &[usize]| shoot_of[stretch[0]] == lens;
        let own = || stretches.iter().filter(|stretch| is_its(stretch));
        if own().any(|stretch| stretch.len() >= SHORTEST_SWEEP) {
            continue;
        }
        let at_once = |a: usize, b: usize| {
            interval_s(&frames[a], &frames[b]).is_some_and(|s| s.abs() < PAUSE_AT_LEAST_S)
        };
        let around: Vec<Option<usize>> = (0..stretches.len())
            .map(|at| {
                let stretch = &stretches[at];
                let (head, tail) = (stretch[0], stretch[stretch.len() - 1]);
                let before = at.checked_sub(1).and_then(|at| stretches[at].last());
                let after = stretches.get(at + 1).map(|next| &next[0]);
                let before = before.filter(|&&before| at_once(before, head));
                let after = after.filter(|&&after| at_once(tail, after));
                before.or(after).map(|&neighbour| shoot_of[neighbour])
            })
            .collect();
        for (stretch, shoot) in stretches.iter().zip(around) {
            if let Some(shoot) = shoot
                && shoot_of[stretch[0]] == lens
            {
                for &index in stretch {
                    shoot_of[index] = shoot;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::split;
    use super::super::tests::sweep;
    use crate::sweep::FrameInfo;

    fn sizes(frames: &[FrameInfo]) -> Vec<usize> {
        let groups = split(frames, "card");
        groups.iter().map(|group| group.frames.len()).collect()
    }

    /// Bad contacts, or a lens that calls itself otherwise after a while.
    #[test]
    fn frames_that_name_another_lens_stay_in_their_sweep() {
        let other = Some("Ostrel Meridian 50 mm".to_owned());
        for lens in [other, None] {
            for odd in [
                vec![3],
                vec![0],
                vec![23],
                vec![4, 9, 10, 17],
                (0..24).step_by(2).collect(),
            ] {
                let mut frames = sweep(50.0, 1, 0.0, 24);
                for &at in &odd {
                    frames[at].lens.clone_from(&lens);
                }
                assert_eq!(sizes(&frames), [24], "{lens:?} in {odd:?}");
            }
        }
    }

    /// A few frames to try another lens, between two sweeps: changing it takes a while.
    #[test]
    fn a_trial_with_another_lens_is_no_part_of_a_sweep() {
        let mut frames = sweep(50.0, 1, 0.0, 24);
        let mut trial = sweep(50.0, 25, 80.0, 3);
        for frame in &mut trial {
            frame.lens = Some("Ostrel Meridian 50 mm".to_owned());
        }
        frames.extend(trial);
        frames.extend(sweep(50.0, 28, 160.0, 24));
        let mut sizes = sizes(&frames);
        sizes.sort_unstable();
        assert_eq!(sizes, [3, 24, 24]);
    }
}
