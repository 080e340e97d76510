//! What is learnt of a sweep's frames, step by step, between finding their targets and the verdict.

use super::distance::blur::{self, BlurCourse, FromBlur};
use super::distance::{self, DistanceScale};
use super::facts::Facts;
use super::hanging::Lie;
use super::pulls::spread::{self, reference_px};
use super::pulls::tone::{self, Exposures};
use super::pulls::{self, Pulls};
use super::sequence::places::Places;
use super::sequence::restore::Restored;
use super::sequence::runs::Runs;
use super::surroundings::backdrop::{self, Backdrop};
use super::surroundings::dust::{self, Dust};
use super::surroundings::other_light::{self, OtherLight};
use super::tracking::separation;
use super::verdict::infinity::Shortfall;
use super::verdict::moved::{self, Moves};
use super::verdict::slip::{self, Slip};
use super::{DistanceSource, FrameInfo, FrameResult, SweepSettings, frame};
use crate::measure::Flag;

/// How a sweep's frames stand to each other, as the search for their targets found.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    /// How the targets lie.
    pub(super) lie: Lie,
    /// Where the frames stand.
    pub(super) places: Places,
    /// Width and height of the pictures, px.
    pub(super) size_px: Option<(u32, u32)>,
    /// The order was changed.
    pub(super) restored: Option<Restored>,
    /// There are several runs through the focus; frames by their files.
    pub(super) runs: Option<Runs<String>>,
}

/// What was learnt.
#[derive(Debug, Clone)]
pub(super) struct Evidence {
    /// How the frames stand to each other.
    pub(super) standing: Standing,
    /// The light of the targets, frame by frame.
    pub(super) exposures: Exposures,
    /// How the blur runs, where it could be told.
    pub(super) course: Option<BlurCourse>,
    /// Distances from blur.
    pub(super) estimate: Option<FromBlur>,
    /// Where the distances come from.
    pub(super) distance_source: DistanceSource,
    /// Frames whose stated distance runs against the order.
    pub(super) aside: Vec<usize>,
    /// The background is uneven.
    pub(super) backdrop: Option<Backdrop>,
    /// There is dust on the sensor.
    pub(super) dust: Option<Dust>,
    /// What else pulls the centres.
    pub(super) pulls: Pulls,
    /// There is light beside a target.
    pub(super) other_light: Option<OtherLight>,
    /// Where targets moved, or may have.
    pub(super) moves: Option<Moves>,
    /// The zoom ring slipped.
    pub(super) slip: Option<Slip>,
    /// The reference is short of infinity, as the verdict says.
    pub(super) shortfall: Option<Shortfall>,
}

impl Evidence {
    /// Reads the frames; puts their focus settings in, and takes out of their separations what pulls the targets' centres and what
    /// moved single targets.
    pub(super) fn gather(
        frames: &mut [FrameResult],
        standing: Standing,
        facts: &Facts,
        settings: &SweepSettings,
    ) -> Self {
        let (tone, exposures) = tone::straighten(frames);
        separation::by_targets(frames);
        let course = spread::course(frames, &standing.places);
        if let Some(course) = &course {
            spread::fill(frames, course);
        }
        let estimate = course
            .as_ref()
            .and_then(|course| standing.distances_from_blur(frames, course, facts));
        let reference = frame::reference(frames);
        let backdrop =
            reference.and_then(|reference| backdrop::detect(frames, course.as_ref(), reference));
        let dust = reference.and_then(|reference| dust::detect(frames, course.as_ref(), reference));
        if let Some(dust) = &dust {
            dust.correct(frames);
        }
        let across_pupil = course
            .as_ref()
            .and_then(|course| facts.across_pupil(reference_px(frames)?, course));
        let pulls = pulls::take_out(
            frames,
            course.as_ref(),
            standing.size_px.map(|(width, _)| width),
            across_pupil,
            backdrop.as_ref(),
            dust.as_ref(),
            tone,
        );
        let other_light = other_light::detect(
            frames,
            course.as_ref(),
            pulls.cut_blur.as_ref(),
            backdrop.as_ref(),
            dust.as_ref(),
        );
        let mut evidence = Self {
            standing,
            exposures,
            course,
            estimate,
            distance_source: DistanceSource::None,
            aside: Vec::new(),
            backdrop,
            dust,
            pulls,
            other_light,
            moves: None,
            slip: None,
            shortfall: None,
        };
        evidence.look_for_moves(frames);
        evidence.read_distances(frames, settings);
        evidence
    }

    /// Puts in the frames' focus settings.
    fn read_distances(&mut self, frames: &mut [FrameResult], settings: &SweepSettings) {
        let infos: Vec<&FrameInfo> = frames.iter().map(|frame| &frame.info).collect();
        let separations: Vec<_> = frames.iter().map(|frame| frame.separation_px).collect();
        let separations = match &self.slip {
            Some(slip) => slip.taken_out(&separations),
            None => separations,
        };
        let DistanceScale {
            source,
            dioptres,
            aside,
        } = distance::choose(
            &infos,
            settings,
            &separations,
            self.estimate.as_ref(),
            &self.standing.places,
        );
        for (frame, dioptres) in frames.iter_mut().zip(dioptres) {
            frame.focus_dioptres = dioptres;
        }
        self.distance_source = source;
        self.aside = aside;
    }

    /// Targets that moved, and a zoom ring that slipped. Where another run begins, the scale jumps back, and nothing has.
    fn look_for_moves(&mut self, frames: &mut [FrameResult]) {
        let Standing {
            places,
            size_px,
            runs: None,
            ..
        } = &self.standing
        else {
            return;
        };
        // Light beside a target pulls one centre alone, as if it moved, and is told by itself.
        if self.other_light.is_none() {
            self.moves = moved::find(frames, places, *size_px);
        }
        if let Some(moves) = &self.moves {
            moves.correct(frames);
        }
        let seen = slip::Seen {
            frames,
            places,
            course: self.course.as_ref(),
            size_px: *size_px,
            other_light: self.other_light.as_ref(),
        };
        self.slip = slip::find(&seen, self.pulls.cut_blur.as_ref());
    }
}

impl Standing {
    /// Whether nothing shows which end of the sweep is at closest focus.
    pub(super) fn is_either_way(&self) -> bool {
        self.restored.is_some_and(Restored::reads_both_ways)
    }

    /// Distances from the blur, where set-up and order are known and the first frame was measured: read from the wrong end, the blur
    /// would tell wrong ones.
    fn distances_from_blur(
        &self,
        frames: &[FrameResult],
        course: &BlurCourse,
        facts: &Facts,
    ) -> Option<FromBlur> {
        let known = facts.known().filter(|_| !self.is_either_way())?;
        frames.first()?.separation_px?;
        let estimate = blur::estimate(course, known)?;
        let is_burnt = |frame: &FrameResult| frame.is_flagged(Flag::Saturated);
        Some(if frames.iter().any(is_burnt) {
            estimate.of_burnt_out_targets()
        } else {
            estimate
        })
    }
}
