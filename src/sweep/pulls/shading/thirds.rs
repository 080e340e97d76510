//! What frames show of how their light leans, and what tilts it as they say.

use nalgebra::{DMatrix, DVector};

use super::super::leaning_pair;
use super::super::warp::Warp;
use crate::measure::Target;
use crate::sweep::FrameResult;
use crate::sweep::fitting::spike_and_slab::{self, Expected, Set};

/// Fewest frames that are read.
const FEWEST: usize = 6;
/// A frame this many standard deviations off is something else and left out.
const OUTLIER: f64 = 5.0;
/// Least standard uncertainty of a third moment that is believed, as a part of the second to the power of 1.5.
const LEAST_SKEWNESS: f64 = 2e-4;
/// Standard deviations by which χ² over its degrees of freedom may be below 1 by chance.
const CHANCE: f64 = 2.0;
/// Part of a third moment by which it is not quite what a steady rise makes it (simulated sweeps).
const NOT_QUITE: f64 = 0.05;
/// Stretches of a sweep within which that part is the same: it goes with the blur, and no mean over neighbours lessens it.
const STRETCHES: f64 = 3.0;
/// Numbers that most sweeps tell; the others hardly fit their noise.
const TOLD: usize = 3;

/// Places of the numbers: brightness that rises outwards, 1/px, in the middle of the sweep, and what it has more at the last
/// frame than at the first …
const RISE: usize = 0;
/// See `RISE`.
const CHANGE: usize = 1;
/// … light across the pupil, as the part at its rim, with the sign of the blur …
pub(super) const ACROSS: usize = 2;
/// … the same without its sign …
const COMA: usize = 3;
/// … and the third moment of the tape, px³, if it was cut by eye …
const TAPE: usize = 4;
/// … or torn askew.
const TORN: usize = 5;
/// Travel at the middle of a sweep.
const MIDDLE: f64 = 0.5;
/// How many there are.
const NUMBERS: usize = 6;

/// Standard deviation over half a picture's width of the rise that lenses have whose light falls off: cos⁴ of 35, 28 and 24 mm on 36 mm
/// makes 0.5, 0.75 and 1 at three quarters of the way to the side (computed), the rim of the barrel more. Our choice.
const USUAL_OVER_HALF: f64 = 0.7;
/// Standard deviation of its change from the first frame to the last, as a share of the rise that may be there: what does not fall off
/// does not change. Our choice.
const USUAL_CHANGE: f64 = 0.4;
/// Standard deviation of the light across a pupil: cos⁴ does 0.3 to 1 % (computed, f/2 to f/2.8 and 1 to 2 m), coatings and rims more. Our choice.
const USUAL_ACROSS: f64 = 0.03;
/// Skewness of tape that is cut by eye: a square with one end askew by 5° has 0.03 (computed) …
const USUAL_TAPE: f64 = 0.03;
/// … and of tape that is torn; a triangle has 0.57. Our choice.
const USUAL_TORN: f64 = 0.3;
/// How likely tape is to be the one or the other. Our choice.
const TAPES: [(f64, usize); 2] = [(0.8, TAPE), (0.2, TORN)];

/// What may tilt the blur together beside the tape, and how likely that is before anything was seen, of which only the ratios count:
/// three in ten of all sweeps are thought to have even light, as cameras even brightness out, but in steps and not for every
/// lens. Our choice.
const SETS: [Set<'static>; 8] = [
    (0.20, &[]),
    (0.37, &[RISE]),
    (0.10, &[RISE, CHANGE]),
    (0.008, &[ACROSS]),
    (0.0012, &[COMA]),
    (0.003, &[RISE, ACROSS]),
    (0.001, &[RISE, COMA]),
    (0.003, &[RISE, CHANGE, ACROSS]),
];
/// Logarithm of how much likelier third moments have to be with a tilt of the pupil's than with none before it is weighed beside
/// brightness: what can't be seen at all is a bound and no scatter. Odds of 20.
const LEANS: f64 = 3.0;
/// What uncertainties grow by where the tone curve is not sRGB's: what straightening leaves leans by the blur and in all frames
/// alike (simulated sweeps).
const TONED: f64 = 1.5;
/// What tells how much of a rise there may be.
const STEADY: [Set<'static>; 2] = [(0.6, &[TAPE, RISE]), (0.4, &[TAPE])];
/// All of them, and light across the pupil alone.
const ALL: [Set<'static>; 1] = [(1.0, &[TORN, RISE, CHANGE, ACROSS, COMA])];
/// See `ALL`.
const ALONE: [Set<'static>; 1] = [(1.0, &[TORN, ACROSS])];

/// What one frame shows.
#[derive(Clone, Copy)]
pub(super) struct Seen {
    /// Mirrored third moment, px³: mean of both targets.
    pub(super) third: f64,
    /// Half of what the right target's has more than the left one's.
    pub(super) differs: f64,
    u: f64,
    /// Mean fourth cumulant, px⁴.
    fourth: f64,
    /// Mean second moment to the power of 1.5, px³.
    size: f64,
    /// Place in the sweep, 0 to 1.
    travel: f64,
    scale: f64,
    /// Signed blur, px.
    blur: f64,
}

impl Seen {
    /// Third moment for one of a number, px³.
    fn grows_by(&self, number: usize) -> f64 {
        match number {
            RISE => self.fourth,
            CHANGE => self.fourth * (self.travel - MIDDLE),
            ACROSS => -self.blur.powi(3) / 128.0,
            COMA => -self.blur.abs().powi(3) / 128.0,
            _ => self.scale.powi(3),
        }
    }
}

/// What a frame of this scale and signed blur at the reference's scale, px, shows.
pub(super) fn seen(
    frame: &FrameResult,
    scale: f64,
    blur: f64,
    warp: Option<&Warp>,
) -> Option<Seen> {
    let [left, right] = leaning_pair(&frame.targets)?;
    let size = |t: &Target| t.variance_px2.value.max(0.0).powf(1.5);
    let u = |t: &Target| t.lean.third_px3.std_error.max(LEAST_SKEWNESS * size(t));
    let stretched = |t: &Target| warp.map_or(0.0, |warp| warp.third_px3(t, frame.travel));
    let outwards = (
        -left.lean.third_px3.value - stretched(left),
        right.lean.third_px3.value - stretched(right),
    );
    Some(Seen {
        third: (outwards.0 + outwards.1) / 2.0,
        differs: (outwards.1 - outwards.0) / 2.0,
        u: u(left).hypot(u(right)) / 2.0,
        fourth: (left.lean.fourth_px4 + right.lean.fourth_px4) / 2.0,
        size: (size(left) + size(right)) / 2.0,
        travel: frame.travel,
        scale,
        blur: blur * scale,
    })
}

/// How far both targets of a frame are pulled apart for one of each number, px; its signed blur in its own px.
pub(super) fn pulls_px(frame: &FrameResult, blur: f64) -> Option<DVector<f64>> {
    let (left, right) = (frame.targets.first()?, frame.targets.last()?);
    let tilt = left.lean.tilt_px2 + right.lean.tilt_px2;
    let along = |t: &Target| t.variance_px2.value * (1.0 + t.elongation);
    // As much of it as the centre is moved by light that rises, against a centre of mass.
    let share = tilt / (along(left) + along(right)).max(f64::MIN_POSITIVE);
    let across = share * blur / 4.0;
    Some(DVector::from_vec(vec![
        tilt,
        tilt * (frame.travel - MIDDLE),
        across,
        across.abs(),
        0.0,
        0.0,
    ]))
}

/// What third moments say.
#[derive(Debug, Clone)]
pub(super) struct Read {
    /// The numbers that are to be expected.
    pub(super) mean: DVector<f64>,
    /// Their covariance, grown with the scatter where that is larger than noise.
    pub(super) covariance: DMatrix<f64>,
    /// The same from how the numbers move where single frames are left out, each by what it does not tell alone (jackknife, its
    /// squares times one less leverage, HC2; textbook statistics, from memory): more where one frame alone tells.
    pub(super) by_frame: DMatrix<f64>,
    /// χ² over its degrees of freedom, 1 at least.
    pub(super) spread: f64,
    /// Light across the pupil with its standard uncertainty, if there were nothing else.
    pub(super) across_alone: (f64, f64),
}

impl Read {
    /// Nothing, and no doubt of it.
    pub(super) fn none() -> Self {
        Self {
            mean: DVector::zeros(NUMBERS),
            covariance: DMatrix::zeros(NUMBERS, NUMBERS),
            by_frame: DMatrix::zeros(NUMBERS, NUMBERS),
            spread: 1.0,
            across_alone: (0.0, USUAL_ACROSS),
        }
    }

    /// What is thought where pictures tell nothing of the brightness `half` a separation, px, from the middle: an uncertainty that
    /// would count on even light in half of all sweeps would be too small in the other half.
    pub(super) fn nothing(half: f64) -> Self {
        let mut nothing = Self::none();
        nothing.covariance[(RISE, RISE)] = (USUAL_OVER_HALF / half).powi(2);
        nothing
    }

    /// The rise at a place in the sweep, 1/px.
    pub(super) fn rise_at(&self, travel: f64) -> f64 {
        self.mean[RISE] + (travel - MIDDLE) * self.mean[CHANGE]
    }

    /// Its standard uncertainty.
    pub(super) fn u_of_rise_at(&self, travel: f64) -> f64 {
        let mut factors = DVector::zeros(NUMBERS);
        factors[RISE] = 1.0;
        factors[CHANGE] = travel - MIDDLE;
        self.u_of(&factors)
    }

    /// Standard uncertainty of a sum of the numbers, each times a factor.
    pub(super) fn u_of(&self, factors: &DVector<f64>) -> f64 {
        let variance = |covariance: &DMatrix<f64>| factors.dot(&(covariance * factors));
        // A dozen frames left out in turn scatter; what they show is believed by what it exceeds the other.
        let (all, by_frame) = (variance(&self.covariance), variance(&self.by_frame));
        all.max(by_frame - all).max(0.0).sqrt()
    }
}

/// Weighs what tilts the blur by some third moments of targets that are `half` a separation, px, from the middle, without outliers;
/// `toned` where the tone curve is not sRGB's. `None` where too few frames tell.
pub(super) fn read(
    seen: &[Seen],
    third: impl Fn(&Seen) -> f64,
    half: f64,
    toned: bool,
) -> Option<Read> {
    let doubt = if toned { TONED } else { 1.0 };
    let mut kept: Vec<&Seen> = seen.iter().collect();
    let smallest = seen.iter().map(|s| s.size).fold(f64::INFINITY, f64::min);
    let mut usual = DVector::from_vec(vec![
        USUAL_OVER_HALF / half,
        // Until the rise is read, its change may be as large.
        USUAL_OVER_HALF / half,
        USUAL_ACROSS,
        USUAL_ACROSS,
        USUAL_TAPE * smallest.max(1.0),
        USUAL_TORN * smallest.max(1.0),
    ]);
    let u = |s: &Seen| s.u.hypot(NOT_QUITE * third(s));
    for round in 0.. {
        if kept.len() < FEWEST {
            return None;
        }
        let courses = DMatrix::from_fn(kept.len(), NUMBERS, |row, number| {
            kept[row].grows_by(number) / u(kept[row])
        });
        let thirds = DVector::from_iterator(kept.len(), kept.iter().map(|s| third(s) / u(s)));
        let all = spike_and_slab::expected(&courses, &thirds, &usual, &ALL)?;
        let off = &thirds - &courses * all.mean;
        let freedom = kept.len() - TOLD;
        let scatter = off.norm_squared() / freedom as f64;
        let spread = scatter.max(1.0);
        let within = |at: &usize| off[*at].powi(2) < OUTLIER * OUTLIER * spread;
        let next: Vec<&Seen> = (0..kept.len()).filter(within).map(|at| kept[at]).collect();
        if next.len() < kept.len() && next.len() >= FEWEST && round < 2 {
            kept = next;
            continue;
        }
        // What uncertainties hold beyond the scatter may be alike in all frames, as what JPEG does is, and no mean lessens that.
        let random = (scatter + CHANCE * (2.0 / freedom as f64).sqrt()).min(1.0);
        let alike = kept.len() as f64 * (1.0 - random);
        let larger = doubt * (spread * random + alike).sqrt();
        let neighbours = (kept.len() as f64 / STRETCHES).max(1.0).sqrt();
        let weights = DVector::from_iterator(
            kept.len(),
            kept.iter().map(|s| {
                let with_neighbours = s.u.hypot(neighbours * NOT_QUITE * third(s));
                u(s) / with_neighbours / larger
            }),
        );
        let (courses, thirds) = (
            DMatrix::from_diagonal(&weights) * courses,
            thirds.component_mul(&weights),
        );
        let steady = spike_and_slab::expected(&courses, &thirds, &usual, &STEADY)?;
        usual[CHANGE] = USUAL_CHANGE * steady.mean[RISE].abs();
        let found = weigh(&courses, &thirds, &usual)?;
        let alone = spike_and_slab::expected(&courses, &thirds, &usual, &ALONE)?;
        let u_alone = alone.covariance[(ACROSS, ACROSS)].max(0.0).sqrt();
        return Some(Read {
            by_frame: by_frame(&courses, &thirds, &usual, &found)?,
            mean: found.mean,
            covariance: found.covariance,
            spread,
            across_alone: (alone.mean[ACROSS], u_alone),
        });
    }
    None
}

/// Covariance of the numbers from how they move where single frames are left out.
fn by_frame(
    courses: &DMatrix<f64>,
    thirds: &DVector<f64>,
    usual: &DVector<f64>,
    found: &Expected,
) -> Option<DMatrix<f64>> {
    let mut sum = DMatrix::zeros(NUMBERS, NUMBERS);
    if courses.nrows() == FEWEST {
        return Some(sum);
    }
    for at in 0..courses.nrows() {
        let without = weigh(
            &courses.clone().remove_row(at),
            &thirds.clone().remove_row(at),
            usual,
        )?;
        let moved = without.mean - &found.mean;
        let row = courses.row(at);
        let leverage = (row * &found.covariance * row.transpose()).x;
        sum += &moved * moved.transpose() * (1.0 - leverage).max(0.0);
    }
    Some(sum)
}

/// What is to be expected of the numbers.
fn weigh(courses: &DMatrix<f64>, thirds: &DVector<f64>, usual: &DVector<f64>) -> Option<Expected> {
    let of = |sets: &[Set<'_>]| spike_and_slab::expected(courses, thirds, usual, sets);
    let evidence = |set: &[usize]| Some(of(&[(1.0, set)])?.log_evidence);
    let tilts = evidence(&[TORN, ACROSS])?.max(evidence(&[TORN, COMA])?) - evidence(&[TORN])?;
    let mut weighed: Vec<(f64, Vec<usize>)> = Vec::with_capacity(TAPES.len() * SETS.len());
    for (of_tape, tape) in TAPES {
        for (chance, set) in SETS {
            if tilts > LEANS || !(set.contains(&ACROSS) || set.contains(&COMA)) {
                let set = [tape].iter().chain(set).copied().collect();
                weighed.push((of_tape * chance, set));
            }
        }
    }
    let sets: Vec<Set<'_>> = weighed
        .iter()
        .map(|(chance, set)| (*chance, set.as_slice()))
        .collect();
    of(&sets)
}
