//! Findings about order, reference and distances.

use super::{Evidence, finding, names, signed};
use crate::sweep::sequence::restore::Restored;
use crate::sweep::sorting::order;
use crate::sweep::verdict::infinity::Witness;
use crate::sweep::{
    Code, DistanceSource, Finding, FrameResult, Part, Severity, SweepMeasurement, SweepSettings,
};

/// Blur at both ends of the sweep from which the place between where the targets are sharpest is well known, px.
pub(super) const ENOUGH_BLUR_PX: f64 = 8.0;

pub(super) fn not_at_infinity(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let shortfall = evidence.shortfall?;
    let reference = &sweep.frames[sweep.summary.as_ref()?.reference];
    let seen = match (shortfall.witness, shortfall.dioptres) {
        (Witness::Told, _) => "was said not to be at infinity".to_owned(),
        (Witness::Distance, Some(d)) => format!("is focused at {:.2} m", 1.0 / d),
        (Witness::Blur, Some(d)) => format!(
            "blurs the targets less than infinity would: it is focused at about {:.1} m",
            1.0 / d
        ),
        _ => "is not the last one of the sweep, and the picture still changes there".to_owned(),
    };
    let effect = shortfall.effect_pct.map_or_else(String::new, |effect| {
        format!(
            " To infinity, about {} percentage points more would come to every shift (as the curve runs at its end).",
            signed(effect)
        )
    });
    Some(finding(
        Code::ReferenceNotAtInfinity,
        Severity::Warning,
        format!(
            "The last measured frame {seen}. Every shift is relative to this farthest frame, not to infinity.{effect} \
             Shoot again with the last frame at true infinity."
        ),
        names([reference]),
    ))
}

pub(super) fn order_uncertain(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let restored = evidence.standing.restored?;
    let (first, last) = (sweep.frames.first()?, sweep.frames.last()?);
    let severity = if restored.reads_both_ways() || restored == Restored::MaybeBackwards {
        Severity::Warning
    } else {
        Severity::Note
    };
    let what = match restored {
        Restored::EitherWay => format!(
            "Scale and blur jump from file to file; the frames were put in the order in which both change smoothly, from {} to \
             {}, but nothing shows which of these ends is at closest focus. Read from the other end, every shift has the other \
             sign and is against the other frame, so direction and size of the shift are not known. Give the distances of some \
             frames, or closest focus and the distance to the targets; or name the files in the order they were shot in, and \
             have them ordered by name.",
            first.info.file, last.info.file
        ),
        Restored::ToldBackwards => {
            let witness = if sweep.distance_source.is_stated() {
                "the distances of the frames"
            } else {
                "closest focus, the distance to the targets and their blur"
            };
            format!(
                "The order was given, and runs from {} to {}; but by {witness} the first of these frames is at infinity and the \
                 last at closest focus. The order was kept. If it is wrong, every shift has the other sign and is against the \
                 wrong frame, so direction and size of the shift are not known. Give the other order or have it found \
                 automatically; if it is right, check {witness}.",
                first.info.file, last.info.file
            )
        }
        Restored::MaybeBackwards | Restored::HardlyBackwards => format!(
            "The targets are blurred {}more in {} than in {}. Either they stand near closest focus, or the sweep was shot from \
             infinity to closest focus; then every shift has the other sign and is against the wrong frame. The order of the files \
             was kept. Give closest focus and the distance to the targets, which settle it, or say which order is right.",
            if restored == Restored::MaybeBackwards { "much " } else { "" },
            last.info.file,
            first.info.file
        ),
        Restored::ReversedByDistance => {
            changed("The files run from far to near by their distances; they were turned round.")
        }
        Restored::SortedByDistance => {
            changed("The files run to and fro by their distances; they were sorted by distance.")
        }
        Restored::ReversedByBlur => changed(
            "By the blur of the targets the first file is at infinity and the last at closest focus; the order was turned round.",
        ),
        Restored::Exchanged => "Scale and blur go back between single neighbours, as of a focus that hunts; these frames were put in \
             each other's place, and nothing else is changed. Check the order of the files named here."
            .to_owned(),
        Restored::SortedByBlur => changed(
            "Scale and blur jump from file to file; the frames were put in the order in which both change smoothly.",
        ),
        Restored::Doubtful => changed(
            "Scale and blur jump from file to file; the frames were put in the order in which both change smoothly, but the sides \
             nearer and farther than the targets look alike and may be mixed up, and so may the ends.",
        ),
    };
    let files = match restored {
        Restored::EitherWay
        | Restored::MaybeBackwards
        | Restored::HardlyBackwards
        | Restored::ToldBackwards => names([first, last]),
        Restored::Exchanged => out_of_file_order(sweep),
        _ => Vec::new(),
    };
    Some(finding(Code::OrderUncertain, severity, what, files))
}

/// Names of the frames before or after which another one comes by name.
fn out_of_file_order(sweep: &SweepMeasurement) -> Vec<String> {
    let falls = |pair: &[FrameResult]| order::by_name(&pair[0].info, &pair[1].info).is_gt();
    let pairs = sweep.frames.windows(2).filter(|pair| falls(pair));
    names(pairs.flatten())
}

/// How the order was changed, with what follows from that.
fn changed(how: &str) -> String {
    format!(
        "{how} A wrong order changes the curve and may change the reference. Check that the first frame is at closest focus and \
         the last at infinity; give the order by name, time or reversed if not."
    )
}

pub(super) fn unknown(
    sweep: &SweepMeasurement,
    settings: &SweepSettings,
    evidence: &Evidence,
) -> Option<Finding> {
    if sweep.distance_source != DistanceSource::None {
        return None;
    }
    let missing = match (settings.closest_focus, settings.target_distance) {
        (None, None) => {
            Some("closest focus and the distance to the targets, of which neither is known")
        }
        (None, Some(_)) => {
            Some("closest focus, which is not known (the distance to the targets is)")
        }
        (Some(_), None) => {
            Some("the distance to the targets, which is not known (closest focus is)")
        }
        (Some(_), Some(_)) => None,
    };
    let last_blur_px = evidence
        .course
        .as_ref()
        .and_then(|course| Some(-course.signed.last()?.1.value));
    let why = match (last_blur_px, missing) {
        _ if evidence.standing.is_either_way() => {
            "Blur can't tell them either, as long as nothing shows which end of the sweep is at closest focus. Give \
             distances for some frames."
                .to_owned()
        }
        (None, _) => "Blur can't tell them either: the targets are not at their sharpest between the first and the last \
                      frame. Shoot with targets farther off than closest focus, or give distances for some frames."
            .to_owned(),
        (Some(blur), _) if blur < ENOUGH_BLUR_PX => format!(
            "Blur can't tell them either: the targets blur by {:.0} px at the last frame, and {ENOUGH_BLUR_PX} are needed. \
             Bring the targets nearer or open the aperture, or give distances for some frames.",
            blur.max(0.0)
        ),
        (Some(_), Some(missing)) => format!(
            "From the blur of the targets they can be estimated with {missing}. Give what is missing, or give distances \
             for some frames."
        ),
        (Some(_), None) => "They can't be estimated from the blur of the targets: the first frame could not be measured, or the \
                            targets stand nearer than closest focus. Check closest focus and target distance, or give \
                            distances for some frames."
            .to_owned(),
    };
    let is_open = evidence.shortfall.is_none();
    let summary = sweep.summary.as_ref();
    let a_step = summary.and_then(|summary| summary.budget.bound_pct(Part::AssumedInfinity));
    let trusted = match a_step {
        _ if !is_open => String::new(),
        None => ", but that the last frame is at infinity, against which it is stated, is taken on trust".to_owned(),
        Some(a_step) => format!(
            ", but that the last frame is at infinity, against which it is stated, is taken on trust: the shift still changes there, and \
             for each step of the bracket by which the sweep ends short of infinity, every shift lacks about {} percentage points",
            signed(a_step)
        ),
    };
    Some(finding(
        Code::DistanceUnknown,
        Severity::Note,
        format!(
            "No focus distances are known, so there is no tolerance distance; the shift itself is not affected{trusted}. {why}"
        ),
        Vec::new(),
    ))
}
