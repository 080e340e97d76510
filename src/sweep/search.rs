//! The targets of a sweep's frames, and where the frames stand.

use super::facts::Facts;
use super::fitting::smooth;
use super::fitting::steps;
use super::sequence::places::{NO_WORSE, Places, SPEAK_AGAINST};
use super::sequence::restore::{self, Arrangement, Ends, Restored};
use super::sequence::runs::{self, Runs};
use super::sequence::{hunting, pace, unseen};
use super::tracking::look::{Load, Sight};
use super::tracking::pair;
use super::tracking::pick::{Found, Sightings};
use super::{FrameInfo, FrameOrder, SweepSettings, distance};
use crate::measure::{Target, Unmeasurable};

/// Gives what is seen in the frames at some indices, in their order.
pub(super) type Look<'a> = &'a dyn Fn(&[usize]) -> Vec<Result<Sight, Unmeasurable>>;

/// What was found in the frames of a sweep.
pub(super) struct Search {
    /// What each frame holds, in sweep order; `None` for frames that are left out.
    pub(super) found: Vec<(usize, Option<Found>)>,
    /// Where they stand.
    pub(super) places: Places,
    /// Size of the pictures.
    pub(super) size: Option<(u32, u32)>,
    /// What distances, or blur and scale, did to the order.
    pub(super) restored: Option<Restored>,
    /// The frames, in the order that their files give, run through the focus more than once; frames by their indices.
    pub(super) runs: Option<Runs>,
}

/// Searches all frames that are in use; puts `sequence` right where distances, or blur and scale, show that it is wrong.
pub(super) fn find(
    frames: &[FrameInfo],
    sequence: &mut [usize],
    look: Look<'_>,
    load: Load<'_>,
    settings: &SweepSettings,
) -> Search {
    let in_use = |sequence: &[usize]| -> Vec<usize> {
        sequence
            .iter()
            .copied()
            .filter(|&index| !settings.left_out.contains_key(&frames[index].file))
            .collect()
    };
    let looked = in_use(sequence);
    let sights = look(&looked);
    let size = usual_size(&sights);
    let mut sightings = Sightings {
        pointed: looked
            .iter()
            .map(|&index| settings.pointed_at.contains_key(&frames[index].file))
            .collect(),
        places: Places::in_order(looked.len()),
        order: looked,
        sights,
        size: size.unwrap_or((1, 1)),
        load,
    };
    let runs = several_runs(&sightings);
    let mut how = None;
    if settings.order == FrameOrder::Automatic {
        let infos: Vec<&FrameInfo> = sequence.iter().map(|&index| &frames[index]).collect();
        if distance::are_stated(&infos, settings) {
            let written = distance::written_dioptres(frames, sequence, settings);
            how = by_distance(sequence, &mut sightings, &written);
        } else if let Some(&info) = infos.first() {
            how = by_blur(sequence, &mut sightings, info, settings);
        }
    } else if runs_backwards(frames, sequence, &sightings, settings) {
        how = Some(Restored::ToldBackwards);
    }
    let places = settle(frames, sequence, &mut sightings, settings);
    let mut found = sightings.targets().into_iter();
    let found = sequence
        .iter()
        .map(|&index| {
            let used = !settings.left_out.contains_key(&frames[index].file);
            (index, used.then(|| found.next()).flatten())
        })
        .collect();
    Search {
        found,
        places,
        size,
        restored: how,
        runs,
    }
}

/// More runs through the focus than one, while the frames still are in the order that their files give.
fn several_runs(sightings: &Sightings<'_>) -> Option<Runs> {
    let pairs = sightings.pairs();
    let indices = sightings.order.iter().zip(&pairs);
    let paired = indices.filter_map(|(&index, pair)| pair.is_some().then_some(index));
    let seen: Vec<_> = paired.zip(looks(&pairs)).collect();
    runs::find(&seen)
}

/// Puts the frames in the order of the distances that are stated, where that is another one and the pictures don't speak for
/// the files': names may be shuffled, and rows of a list may be. `stated` runs along `sequence`.
fn by_distance(
    sequence: &mut [usize],
    sightings: &mut Sightings<'_>,
    stated: &[Option<f64>],
) -> Option<Restored> {
    let arrangement = restore::by_distance(stated);
    let is_reversed = |one: &Arrangement| one.how == Restored::ReversedByDistance;
    let sorted = match &arrangement {
        Some(other) => other.clone(),
        None if restore::out_of_line(stated).is_empty() => return None,
        None => restore::sorted_by_distance(stated)?,
    };
    let before = sightings.order.clone();
    let new: Vec<usize> = sorted.sequence.iter().map(|&at| sequence[at]).collect();
    let place = |index: &usize| before.iter().position(|other| other == index);
    let turned: Vec<usize> = new.iter().filter_map(place).collect();
    let filed = sightings.series();
    sightings.arrange(&turned);
    let takes = is_reversed(&sorted) || {
        let gain = gain_of(&filed, &sightings.series(), &turned);
        // Whoever is doubted has to be clearly contradicted: few rows out of line are believed less than many.
        if arrangement.is_some() {
            gain > -SPEAK_AGAINST
        } else {
            gain > SPEAK_AGAINST
        }
    };
    if takes {
        sequence.copy_from_slice(&new);
        return Some(sorted.how);
    }
    let mut back = vec![0; turned.len()];
    for (at, &was) in turned.iter().enumerate() {
        back[was] = at;
    }
    sightings.arrange(&back);
    None
}

/// Most times that a shuffled sweep is arranged: each round puts frames right that the round before had among strangers, so two
/// or three do; the bound only keeps it finite.
const ROUNDS: usize = 8;

/// Puts the frames in the order that blur and scale give, and says how the files ran. In a shuffled sweep a frame's neighbours
/// are strangers, and its pair may be passed over, or be the wrong one, because it fits to none of them; so pairs are chosen
/// again in the new order, and the frames arranged by these, until nothing changes.
fn by_blur(
    sequence: &mut [usize],
    sightings: &mut Sightings<'_>,
    info: &FrameInfo,
    settings: &SweepSettings,
) -> Option<Restored> {
    let mut how = None;
    for _ in 0..ROUNDS {
        let is_shuffled = how.is_some_and(Restored::was_shuffled);
        let Some(arrangement) = order_by_blur(sightings, info, settings, is_shuffled) else {
            break;
        };
        how = Some(arrangement.how);
        let before = sightings.order.clone();
        sightings.arrange(&arrangement.sequence);
        rearrange(sequence, &before, &sightings.order);
        if before == sightings.order || !arrangement.how.was_shuffled() {
            break;
        }
    }
    let hunted = how
        .is_none()
        .then(|| hunting::exchanged(&sightings.series()))
        .flatten();
    if let Some(order) = hunted {
        let before = sightings.order.clone();
        sightings.arrange(&order);
        rearrange(sequence, &before, &sightings.order);
        how = Some(Restored::Exchanged);
    }
    how
}

/// Whether distances, or blur where closest focus and target distance are known, say that frames whose order was told run from
/// infinity to closest focus.
fn runs_backwards(
    frames: &[FrameInfo],
    sequence: &[usize],
    sightings: &Sightings<'_>,
    settings: &SweepSettings,
) -> bool {
    let written = distance::written_dioptres(frames, sequence, settings);
    let (arrangement, reversed) = if written.iter().any(Option::is_some) {
        (restore::by_distance(&written), Restored::ReversedByDistance)
    } else if sequence.is_empty() || !ends(sightings, &frames[sequence[0]], settings).are_known() {
        return false;
    } else {
        let arrangement = order_by_blur(sightings, &frames[sequence[0]], settings, false);
        (arrangement, Restored::ReversedByBlur)
    };
    arrangement.is_some_and(|arrangement| arrangement.how == reversed)
}

/// By how much smoother the series are in another order, as twice the logarithm of a likelihood ratio: `turned[i]` is the
/// place, so far, of the frame that comes i-th in it. Only frames that are seen in both orders count.
fn gain_of(
    filed: &[Vec<Option<(f64, f64)>>],
    other: &[Vec<Option<(f64, f64)>>],
    turned: &[usize],
) -> f64 {
    let count = turned.len();
    let mut gain = 0.0;
    for (filed, other) in filed.iter().zip(other) {
        let mut in_both = vec![false; count];
        for (at, &was) in turned.iter().enumerate() {
            in_both[was] = filed[was].is_some() && other[at].is_some();
        }
        let here = (0..count).filter(|&was| in_both[was]);
        let there = (0..count).filter(|&at| in_both[turned[at]]);
        let unlikely = |values: Vec<Option<(f64, f64)>>| smooth::unlikely(&values, &|at| at as f64);
        let here = unlikely(here.map(|was| filed[was]).collect());
        let there = unlikely(there.map(|at| other[at]).collect());
        if let (Some(here), Some(there)) = (here, there) {
            gain += here - there;
        }
    }
    gain
}

/// Where the frames stand; tells the sightings too. Pictures that can't be read, or are of another size, are heard last.
fn settle(
    frames: &[FrameInfo],
    sequence: &[usize],
    sightings: &mut Sightings<'_>,
    settings: &SweepSettings,
) -> Places {
    let infos: Vec<&FrameInfo> = sequence.iter().map(|&index| &frames[index]).collect();
    let mut sound = vec![false; sequence.len()];
    let mut looked = Vec::new();
    for (at, index) in sequence.iter().enumerate() {
        if let Some(k) = sightings.order.iter().position(|other| other == index) {
            sound[at] = sightings.is_sound(k);
            looked.push(at);
        }
    }
    let dioptres = distance::stated_dioptres(frames, sequence, settings);
    let accounts = Places::accounts(&infos, &sound, &dioptres);
    let of_looked: Vec<Places> = accounts.iter().map(|places| places.of(&looked)).collect();
    let series = sightings.series();
    let chosen = Places::likeliest(&of_looked, &series, -NO_WORSE);
    let mut sound_pairs = vec![false; sequence.len()];
    for (&at, is_sound) in looked.iter().zip(sightings.are_sound()) {
        sound_pairs[at] = is_sound;
    }
    let placed = |series: &steps::BothSeries| {
        let unseen = unseen::gaps(&of_looked[chosen], series);
        let places = unseen
            .into_iter()
            .fold(accounts[chosen].clone(), |places, (frame, missing)| {
                places.opened(looked[frame], missing)
            });
        let [separations, moments] = series.each_ref().map(|seen| {
            let mut all = vec![None; sequence.len()];
            for (&at, seen) in looked.iter().zip(seen) {
                all[at] = *seen;
            }
            all
        });
        let paced = pace::of(&places, &dioptres, &separations, &moments, &sound_pairs);
        places.paced(paced)
    };
    let as_seen = placed(&series);
    // A zoom ring that slips, or a target that moves, is no gap and no change of pace, though either may explain half of it.
    let level = steps::levelled(&series, &|frame| of_looked[chosen].at(frame));
    let places = level
        .filter(|level| {
            let unlikely = |places: &Places, separations: &[Option<(f64, f64)>]| {
                smooth::unlikely(separations, &|frame| places.pace(looked[frame]))
            };
            let stepping = unlikely(&placed(level), &level[0]);
            let running = unlikely(&as_seen, &series[0]);
            stepping
                .zip(running)
                .is_some_and(|(stepping, running)| stepping + SPEAK_AGAINST < running)
        })
        .map_or(as_seen.clone(), |level| placed(&level));
    sightings.places = places.of(&looked);
    places
}

/// Puts the members of `before` that stand in `sequence` into the order of `after`; others stay where they are.
fn rearrange(sequence: &mut [usize], before: &[usize], after: &[usize]) {
    let mut next = after.iter();
    for slot in sequence.iter_mut() {
        if before.contains(slot)
            && let Some(&index) = next.next()
        {
            *slot = index;
        }
    }
}

/// Most frames lost from the near end with which the blur of the first one left still stands for that of closest focus (our choice).
const FEW_LOST: usize = 2;

/// The order that blur and scale give, over all frames looked at. Frames without a pair keep their places, but in a shuffled sweep,
/// where they have none, they stand before all others.
fn order_by_blur(
    sightings: &Sightings<'_>,
    info: &FrameInfo,
    settings: &SweepSettings,
    is_shuffled: bool,
) -> Option<Arrangement> {
    let pairs = if is_shuffled {
        sightings.pairs_in_any_order()
    } else {
        sightings.pairs()
    };
    let places: Vec<usize> = (0..pairs.len()).filter(|&i| pairs[i].is_some()).collect();
    let arrangement =
        restore::by_blur(&looks(&pairs), ends(sightings, info, settings), is_shuffled)?;
    // Nearer frames whose targets left the picture were blurred more.
    let near_end_is_lost = places.first().is_some_and(|&first| first > FEW_LOST);
    if arrangement.how.may_be_backwards() && near_end_is_lost {
        return None;
    }
    let mut sequence: Vec<usize> = (0..pairs.len()).collect();
    if arrangement.how.was_shuffled() {
        sequence.retain(|&i| pairs[i].is_none());
        sequence.extend(arrangement.sequence.iter().map(|&k| places[k]));
    } else {
        for (slot, &k) in places.iter().zip(&arrangement.sequence) {
            sequence[*slot] = places[k];
        }
    }
    Some(Arrangement {
        sequence,
        how: arrangement.how,
    })
}

/// What is measured of the pairs that there are, at one scale.
fn looks(pairs: &[Option<[Target; 2]>]) -> Vec<restore::Look> {
    let shapes = || pairs.iter().flatten().map(|[a, b]| pair::shape(a, b));
    let widest = shapes().map(|shape| shape.separation).fold(0.0, f64::max);
    shapes()
        .map(|shape| {
            let scale = shape.separation / widest;
            restore::Look {
                separation: shape.separation,
                variance: shape.width * shape.width / (scale * scale),
            }
        })
        .collect()
}

/// What is known of the blur at the ends of a sweep; `info` is that of one of its frames.
fn ends(sightings: &Sightings<'_>, info: &FrameInfo, settings: &SweepSettings) -> Ends {
    let facts = Facts::of(Some(info), settings, Some(sightings.size));
    Ends {
        nominal_px: facts
            .expected_first_blur_px()
            .zip(facts.expected_last_blur_px()),
        near_over_far: settings
            .closest_focus
            .zip(settings.target_distance)
            .map(|(closest, target)| (target.m() - closest.m()) / closest.m())
            .filter(|ratio| *ratio > 0.0),
    }
}

/// The size that most pictures have.
fn usual_size(sights: &[Result<Sight, Unmeasurable>]) -> Option<(u32, u32)> {
    let mut sizes: Vec<((u32, u32), usize)> = Vec::new();
    // From the far end, so that of two as frequent sizes the one with the reference is taken.
    for sight in sights.iter().rev().flatten() {
        match sizes.iter_mut().find(|(size, _)| *size == sight.size) {
            Some((_, count)) => *count += 1,
            None => sizes.push((sight.size, 1)),
        }
    }
    let most = sizes.iter().map(|(_, count)| *count).max()?;
    sizes
        .into_iter()
        .find(|(_, count)| *count == most)
        .map(|(size, _)| size)
}
