//! Sources of focus distance that can't all be right.

use super::distances::ENOUGH_BLUR_PX;
use super::{Evidence, finding, names};
use crate::sweep::distance::blur::{BlurCourse, LastFrame};
use crate::sweep::facts::Facts;
use crate::sweep::{
    Code, DistanceSource, Finding, FrameInfo, Severity, SweepMeasurement, SweepSettings, distance,
};
use crate::units::{FEET_PER_METRE, Measured};

/// Two sources disagree in a frame when their dioptres differ by this share of the larger …
const SHARE: f64 = 0.15;
/// … and by this, dioptres, or this share of the target's dioptres where one of them is blur.
const LEAST: (f64, f64) = (0.03, 0.12);
/// Distance, m, from which no lens's nearest frame is: what begins farther off is in another unit (from the trade, no source).
const NOBODY_BEGINS_M: f64 = 20.0;
/// Blur over what is due from which distances are in another unit, and one over it: half way from 1 to the 3.28 of feet, as ratios.
const OTHER_UNIT: f64 = 1.8;
/// Most frames that are named in a sentence.
const MOST_NAMED: usize = 6;
/// Share of the frames in which they have to disagree.
const OFTEN: f64 = 0.34;

/// What differs, and the files that show it.
type Difference = (String, Vec<String>);

/// Everything that is said of distances.
struct Said<'a> {
    sweep: &'a SweepMeasurement,
    settings: &'a SweepSettings,
    evidence: &'a Evidence,
    infos: Vec<&'a FrameInfo>,
    /// By the reviewer, dioptres.
    entered: Vec<Option<f64>>,
    /// By the files, dioptres.
    in_files: Vec<Option<f64>>,
    /// Those of them that count, with the frames between, dioptres.
    stated: Vec<Option<f64>>,
}

pub(super) fn disagrees(
    sweep: &SweepMeasurement,
    settings: &SweepSettings,
    evidence: &Evidence,
) -> Option<Finding> {
    let infos: Vec<_> = sweep.frames.iter().map(|frame| &frame.info).collect();
    let is_stated = sweep.distance_source.is_stated();
    let settings_of = sweep.frames.iter().map(|frame| frame.focus_dioptres);
    let said = Said {
        entered: distance::entered(&infos, settings),
        in_files: distance::in_files(&infos),
        stated: settings_of
            .map(|d| d.filter(|_| is_stated).map(|d| d.value))
            .collect(),
        sweep,
        settings,
        evidence,
        infos,
    };
    let (what, files) = said
        .out_of_order()
        .or_else(|| said.too_far_for_a_lens())
        .or_else(|| said.unit())
        .or_else(|| said.entered_against_files())
        .or_else(|| said.closest_focus())
        .or_else(|| said.target_distance())
        .or_else(|| said.set_up())
        .or_else(|| said.blur())?;
    Some(finding(
        Code::DistanceDisagrees,
        Severity::Warning,
        format!(
            "{what} The shift is not affected, but the tolerance distance may be off by as much. Check the distances that were \
             given, and the distance to the targets."
        ),
        files,
    ))
}

impl Said<'_> {
    /// Against the order of the frames.
    fn out_of_order(&self) -> Option<Difference> {
        let aside = &self.evidence.aside;
        if aside.is_empty() {
            return None;
        }
        let is_given = self.sweep.distance_source == DistanceSource::Entered;
        let (whose, why) = if is_given {
            ("given for", "rows may be swapped, or a figure mistyped")
        } else {
            (
                "in the files of",
                "the camera may have written an old one, or the frame belongs elsewhere",
            )
        };
        let written = if is_given {
            &self.entered
        } else {
            &self.in_files
        };
        let told = |&at: &usize| {
            let metres = in_metres((*written.get(at)?)?);
            Some(format!("{} ({metres})", self.infos.get(at)?.file))
        };
        let mut told: Vec<String> = aside.iter().filter_map(told).collect();
        let more = told.len().saturating_sub(MOST_NAMED);
        told.truncate(MOST_NAMED);
        if more > 0 {
            told.push(format!("{more} more"));
        }
        Some((
            format!(
                "The distances {whose} {} run against the order of the frames, from near to far: {why}. They were not used; these \
                 frames stand between their neighbours.",
                told.join(", ")
            ),
            names(aside.iter().filter_map(|&at| self.sweep.frames.get(at))),
        ))
    }

    fn too_far_for_a_lens(&self) -> Option<Difference> {
        // Of the first frame: others are as far off as their focus is.
        let nearest = (*self.entered.first()?)?;
        (nearest > 0.0 && nearest < 1.0 / NOBODY_BEGINS_M).then(|| {
            (
                format!(
                    "The first frame is said to be focused at {}, and no lens begins so far off: the distances given are read as metres, and may be \
                     millimetres or another unit.",
                    in_metres(nearest)
                ),
                Vec::new(),
            )
        })
    }

    fn entered_against_files(&self) -> Option<Difference> {
        let (at, a, b) = apart(&self.entered, &self.in_files, LEAST.0, 0.5)?;
        let file = &self.infos[at].file;
        Some((
            format!(
                "The distances given and those in the files differ: in {file} by {} against {}.",
                in_metres(a),
                in_metres(b)
            ),
            vec![file.clone()],
        ))
    }

    fn closest_focus(&self) -> Option<Difference> {
        let given = 1.0 / self.settings.closest_focus?.m();
        let first = (*self.stated.first()?)?;
        ((given - first).abs() > SHARE * given).then(|| {
            (
                format!(
                    "The first frame is at {}, closest focus was given as {}.",
                    in_metres(first),
                    in_metres(given)
                ),
                names(self.sweep.frames.first()),
            )
        })
    }

    fn target_distance(&self) -> Option<Difference> {
        let given = 1.0 / self.settings.target_distance?.m();
        let course = self.evidence.course.as_ref()?;
        let (sharpest, step) = stated_at(&self.stated, course)?;
        ((given - sharpest).abs() > (1.5 * SHARE * given).max(0.75 * step)).then(|| {
            (
                format!(
                    "The targets are sharpest at a stated distance of {}, but stand at {}.",
                    in_metres(sharpest),
                    in_metres(given)
                ),
                names(self.sweep.frames.get(course.sharpest.round() as usize)),
            )
        })
    }

    /// Over the distances given the blur changes by so much more or less than a pupil f/N makes that they must be in another unit; nothing
    /// is said where focal length, f-number or the width of the sensor is not known.
    fn unit(&self) -> Option<Difference> {
        let first = self.infos.first().copied();
        let facts = Facts::of(first, self.settings, self.sweep.picture_size_px);
        let signed = self.evidence.course.as_ref()?.signed.iter();
        let given = |frame: usize| *self.entered.get(frame)?;
        let mut known = signed.filter_map(|&(frame, blur)| Some((given(frame)?, blur.value)));
        let ((near, first), (far, last)) = (known.next()?, known.next_back()?);
        let (seen, due) = (first - last, facts.expected_change_px(far, near)?);
        let runs_alike = near > far && seen > 0.0 && due > 0.0;
        let ratio = seen / due;
        let fits = (1.0 / OTHER_UNIT..OTHER_UNIT).contains(&ratio);
        if fits || !runs_alike || seen.max(due) < ENOUGH_BLUR_PX {
            return None;
        }
        Some((
            format!(
                "From {} to {}, as the distances were given, the blur of the targets should change by {due:.0} px by focal length, f-number \
                 and width of the sensor; it changes by {seen:.0} px, {ratio:.1} times as much. The distances are read as metres and may be \
                 feet ({FEET_PER_METRE:.1} times as much) or another unit, or one of those three is wrong.",
                in_metres(near),
                in_metres(far)
            ),
            Vec::new(),
        ))
    }

    /// Of closest focus, target distance and blur.
    fn set_up(&self) -> Option<Difference> {
        let estimate = self.evidence.estimate.as_ref()?;
        (estimate.last == LastFrame::Contradiction).then(|| {
            (
                "Closest focus, target distance and the blur of the targets can't all be right: the first frame may not be at \
                 closest focus."
                    .to_owned(),
                names(self.sweep.frames.first()),
            )
        })
    }

    fn blur(&self) -> Option<Difference> {
        let estimate = self.evidence.estimate.as_ref()?;
        let mut from_blur = vec![None; self.infos.len()];
        for (place, setting) in &estimate.dioptres {
            from_blur[*place] = Some(setting.value);
        }
        let target = self.settings.target_distance;
        let least = target.map_or(LEAST.0, |d| LEAST.1 / d.m());
        let (at, a, b) = apart(&self.stated, &from_blur, least, OFTEN)?;
        let file = &self.infos[at].file;
        Some((
            format!(
                "The stated distances and the blur of the targets differ: in {file} {} is stated, the blur says about {}.",
                in_metres(a),
                in_metres(b)
            ),
            vec![file.clone()],
        ))
    }
}

/// The stated setting where the targets are sharpest, and the step between the frames there, dioptres. `None` where the
/// blur is so small at an end that the sharpest place is not well known.
fn stated_at(stated: &[Option<f64>], course: &BlurCourse) -> Option<(f64, f64)> {
    let blurred = |end: Option<&(usize, Measured)>| {
        end.is_some_and(|(_, blur)| blur.value.abs() > ENOUGH_BLUR_PX)
    };
    if !blurred(course.signed.first()) || !blurred(course.signed.last()) {
        return None;
    }
    let before = course.sharpest.floor() as usize;
    let (a, b) = ((*stated.get(before)?)?, (*stated.get(before + 1)?)?);
    Some((a + course.sharpest.fract() * (b - a), (a - b).abs()))
}

/// Where two sources differ most, with both values, if they differ in more than a share of the frames that both know.
fn apart(
    a: &[Option<f64>],
    b: &[Option<f64>],
    least: f64,
    often: f64,
) -> Option<(usize, f64, f64)> {
    let both: Vec<(usize, f64, f64)> = a
        .iter()
        .zip(b)
        .enumerate()
        .filter_map(|(at, (a, b))| Some((at, (*a)?, (*b)?)))
        .collect();
    let off = |a: f64, b: f64| (a - b).abs() > (SHARE * a.max(b)).max(least);
    let odd = both.iter().filter(|(_, a, b)| off(*a, *b)).count();
    if odd == 0 || (odd as f64) < often * both.len() as f64 {
        return None;
    }
    both.into_iter()
        .max_by(|x, y| (x.1 - x.2).abs().total_cmp(&(y.1 - y.2).abs()))
}

fn in_metres(dioptres: f64) -> String {
    if dioptres > 1e-5 {
        format!("{:.2} m", 1.0 / dioptres)
    } else {
        "infinity".to_owned()
    }
}
