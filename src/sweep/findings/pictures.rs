//! Findings about what the pictures show of the targets.

use super::{Evidence, expanded, finding, names, worst_u};
use crate::measure::{Flag, Unmeasurable};
use crate::sweep::pulls::vignette;
use crate::sweep::{
    Code, DistanceSource, Finding, FrameResult, FrameState, Severity, SweepMeasurement,
};

/// Uncertainty of the worst shift, percentage points, from which a burnt-out or faint target is a warning.
const WORTH_A_WARNING_PCT: f64 = 0.02;
/// Uncertainty by an uneven background that is worth a word, percentage points: shifts are shown to this.
const WORTH_A_WORD_PCT: f64 = 0.01;
/// Share of an uncertainty that its largest part has at the least where the parts add up in quadrature: √½.
const LARGEST_PART: f64 = std::f64::consts::FRAC_1_SQRT_2;
/// The separation should be at least this share of the frame's width.
const LEAST_SEPARATION: f64 = 1.0 / 3.0;

fn failed_by<'a>(
    sweep: &'a SweepMeasurement,
    reason: &'a Unmeasurable,
) -> impl Iterator<Item = &'a FrameResult> {
    sweep
        .frames
        .iter()
        .filter(move |frame| matches!(&frame.state, FrameState::Failed(why) if why == reason))
}

fn flagged(sweep: &SweepMeasurement, flag: Flag) -> impl Iterator<Item = &FrameResult> {
    sweep
        .frames
        .iter()
        .filter(move |frame| frame.is_flagged(flag))
}

pub(super) fn by_effect(sweep: &SweepMeasurement) -> Severity {
    if worst_u(sweep).is_none_or(|u| u > WORTH_A_WARNING_PCT) {
        Severity::Warning
    } else {
        Severity::Note
    }
}

pub(super) fn effect(sweep: &SweepMeasurement) -> String {
    worst_u(sweep).map_or_else(String::new, |u| {
        format!(
            " The uncertainty of the worst shift is {} with it.",
            expanded(u)
        )
    })
}

pub(super) fn clipped(sweep: &SweepMeasurement) -> Option<Finding> {
    let files = names(failed_by(sweep, &Unmeasurable::Clipped));
    (!files.is_empty()).then(|| {
        finding(
            Code::TargetClipped,
            Severity::Warning,
            format!(
                "In {} of {} frames a target or its blur crosses the frame edge, where its centre can't be known; these \
                 frames are not used, so the curve has a gap there. Move the targets inwards, or stop down to make the \
                 blur smaller.",
                files.len(),
                sweep.frames.len()
            ),
            files,
        )
    })
}

pub(super) fn saturated(sweep: &SweepMeasurement) -> Option<Finding> {
    let files = names(flagged(sweep, Flag::Saturated));
    (!files.is_empty()).then(|| {
        finding(
            Code::TargetSaturated,
            by_effect(sweep),
            format!(
                "In {} of {} frames a target is burnt out, so light is missing from its middle and its centre is less \
                 certain.{}{} Expose a stop or two darker.",
                files.len(),
                sweep.frames.len(),
                effect(sweep),
                if sweep.distance_source == DistanceSource::Blur {
                    " Distances from the blur are off by up to a sixth more than else."
                } else {
                    ""
                }
            ),
            files,
        )
    })
}

pub(super) fn faint(sweep: &SweepMeasurement) -> Option<Finding> {
    let lost = names(failed_by(sweep, &Unmeasurable::TooFaint));
    let weak = names(flagged(sweep, Flag::Faint));
    if lost.is_empty() && weak.is_empty() {
        return None;
    }
    let severity = if lost.is_empty() {
        by_effect(sweep)
    } else {
        Severity::Warning
    };
    let message = format!(
        "In {} of {} frames the targets stand out of the noise by little; {} of them could not be measured.{} Light the \
         targets more, or expose longer.",
        weak.len() + lost.len(),
        sweep.frames.len(),
        lost.len(),
        effect(sweep)
    );
    let mut files = lost;
    files.extend(weak);
    Some(finding(Code::TargetsTooFaint, severity, message, files))
}

pub(super) fn close_together(sweep: &SweepMeasurement) -> Option<Finding> {
    let width = f64::from(sweep.picture_size_px?.0);
    let summary = sweep.summary.as_ref()?;
    let separation = sweep.frames[summary.reference].separation_px?.value;
    (separation < LEAST_SEPARATION * width).then(|| {
        finding(
            Code::TargetsTooCloseTogether,
            Severity::Warning,
            format!(
                "The targets stand {separation:.0} px apart in a frame of {width:.0} px, less than a third: the same \
                 noise makes a larger uncertainty ({} at the worst shift), and the middle of the \
                 frame does not stand for its edges. Put the targets nearer to the left and right edge.",
                expanded(summary.worst_shift_pct.std_error)
            ),
            Vec::new(),
        )
    })
}

pub(super) fn blur_vignetted(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let cut = evidence
        .pulls
        .cut_blur
        .filter(vignette::CutBlur::is_remarkable)?;
    let u = expanded(worst_u(sweep)?);
    let done = if cut.certain {
        format!(
            "Its shape tells by how much, {:.1} % of the blur, and that was taken out of the distances between the targets; \
             the uncertainty of the worst shift was widened to {u} for what may be left.",
            100.0 * cut.pull.abs()
        )
    } else {
        format!(
            "Its shape does not tell which way, so nothing was taken out; the uncertainty of the worst shift was widened to \
             {u}."
        )
    };
    Some(finding(
        Code::BlurVignetted,
        Severity::Warning,
        format!(
            "The blurs of the two targets are flattened by {:.0} % as cat's eyes are: the lens barrel cuts them, which pulls \
             their centres. {done} Stop down two stops and shoot again.",
            100.0 * cut.flattening
        ),
        Vec::new(),
    ))
}

pub(super) fn other_light(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let merged = names(failed_by(sweep, &Unmeasurable::RunTogether));
    let other = evidence.other_light.as_ref();
    if other.is_none() && merged.is_empty() {
        return None;
    }
    let of = |places: &[usize]| names(places.iter().map(|&place| &sweep.frames[place]));
    let lopsided = other.map_or_else(Vec::new, |other| of(&other.lopsided));
    let changing = other.map_or_else(Vec::new, |other| of(&other.changing));
    let count = sweep.frames.len();
    let leans = (!lopsided.is_empty()).then(|| {
        format!(
            "In {} of {count} frames the light of a target is lopsided, as neither tape nor blur makes it.",
            lopsided.len(),
        )
    });
    let unlike = other.and_then(|other| other.factor).map(|factor| {
        format!(
            "The two targets differ as two patches of tape don't, one sending {factor:.1} times the light of the other, and \
             that changes over the sweep."
        )
    });
    let changes = (!changing.is_empty() && lopsided.is_empty()).then(|| {
        format!(
            "In {} of {count} frames the light of one target against the other's is not what it is in the rest, as neither \
             exposure nor blur makes it.",
            changing.len(),
        )
    });
    let sharp = other.filter(|other| !other.leaning.is_empty()).map(|other| {
        format!(
            "In {} of {count} frames a target leans to one side though it is nearly sharp, as a reflected copy of it makes it and \
             neither tape nor lens.",
            other.leaning.len(),
        )
    });
    let faint = other.filter(|other| !other.around.is_empty()).map(|_| {
        "Where the targets are sharp, faint light lies beside them, so near that their blur reaches it in other frames."
            .to_owned()
    });
    let runs = (!merged.is_empty()).then(|| {
        format!(
            "In {} of {count} frames something bright beside a target, as the wall beyond the edge of a card, runs into its \
             blur; these frames are not used.",
            merged.len(),
        )
    });
    let pulls = other.map(|_| {
        let worst = worst_u(sweep).map_or_else(String::new, |u| {
            let u = expanded(u);
            format!(" The uncertainty of the worst shift was widened to {u} for it.")
        });
        format!(
            "A reflection, a label or a lamp lies beside or behind a target and pulls its centre, differently from frame to \
             frame.{worst}"
        )
    });
    let remedy = if merged.is_empty() {
        "Take it away or move the targets, and shoot again."
    } else {
        "Put a larger black behind the targets or move them away from its edge, or stop down to make the blur smaller, and \
         shoot again."
    };
    let mut said: Vec<String> = [leans, unlike, changes, sharp, faint, pulls, runs]
        .into_iter()
        .flatten()
        .collect();
    said.push(remedy.to_owned());
    let leaning = other.map_or_else(Vec::new, |other| of(&other.leaning));
    let files = [lopsided, changing, leaning, merged]
        .into_iter()
        .find(|files| !files.is_empty());
    Some(finding(
        Code::OtherLight,
        Severity::Warning,
        said.join(" "),
        files.unwrap_or_default(),
    ))
}

pub(super) fn uneven_background(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let backdrop = evidence.backdrop.as_ref()?;
    let reference = sweep.summary.as_ref()?.reference;
    // It can pass for falling light, and where it does that says nothing against it.
    let shading = evidence
        .pulls
        .shading
        .as_ref()
        .map(|shading| shading.u_pct(reference));
    let weighs = |at: usize, frame: &FrameResult| {
        let u = backdrop.u_pct.get(at).copied().unwrap_or(0.0);
        let all = frame.shift_pct.map_or(0.0, |shift| shift.std_error);
        let passed = shading.as_ref().and_then(|shading| shading.get(at));
        let others = all.powi(2) - passed.map_or(0.0, |u| u.powi(2));
        u > WORTH_A_WORD_PCT && u > LARGEST_PART * others.max(0.0).sqrt()
    };
    let frames = sweep.frames.iter().enumerate();
    let files = names(
        frames
            .filter(|&(at, frame)| weighs(at, frame))
            .map(|(_, frame)| frame),
    );
    (!files.is_empty()).then(|| {
        finding(
            Code::UnevenBackground,
            by_effect(sweep),
            format!(
                "The background is not even: the windows that the targets are measured in find light of their own on its empty \
                 parts above and below. In {} of {} frames that is the largest part of the uncertainty but for falling light, which it \
                 can pass for.{} Folds of cloth do it, \
                 or the edge of a card, however dim. Put a larger, smooth black behind the targets, or light the targets alone, \
                 and shoot again.",
                files.len(),
                sweep.frames.len(),
                effect(sweep)
            ),
            files,
        )
    })
}

pub(super) fn sensor_dust(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let dust = evidence.dust.as_ref()?;
    let places: Vec<String> = dust
        .grains
        .iter()
        .map(|grain| {
            let (x, y) = grain.place_px;
            format!("x {x:.0}, y {y:.0} px ({} frames)", grain.count)
        })
        .collect();
    let severity = if dust.most_pct > WORTH_A_WORD_PCT {
        Severity::Warning
    } else {
        Severity::Note
    };
    let shown = dust.grains.iter().map(|grain| grain.shown);
    let first = shown.clone().map(|shown| shown.0).min()?;
    let last = shown.map(|shown| shown.1).max()?;
    Some(finding(
        Code::SensorDust,
        severity,
        format!(
            "Dark spots stay where they are in the picture while the blur of the targets changes, as dust on the sensor does: {}. \
             They pulled the shift by up to {:.3} percentage points; that was taken out.{} Clean the sensor and shoot again.",
            places.join("; "),
            dust.most_pct,
            effect(sweep)
        ),
        names(&sweep.frames[first..=last]),
    ))
}
