//! Where the frames of a sweep stand, counted in steps of the bracket: file numbers, capture times or distances show how
//! many frames are missing between those that are there. Whatever weighs neighbours against each other goes by this.

mod counted;

use crate::sweep::FrameInfo;
use crate::sweep::fitting::smooth;

/// Twice the logarithm of the likelihood ratio by which the pictures have to speak against a witness before the next one
/// is heard: 400 to 1.
pub(in crate::sweep) const SPEAK_AGAINST: f64 = 12.0;
/// The same that may be chance: what jumps in one series alone (a zoom ring, a wrong target) is no witness.
pub(in crate::sweep) const NO_WORSE: f64 = 3.0;

/// Who says where the frames stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sweep) enum Witness {
    /// The numbers in the file names.
    Numbers,
    /// The capture times.
    Times,
    /// The stated focus distances.
    Distances,
    /// Nobody: the frames stand as they come.
    Order,
}

/// Place of each frame of a sweep, in steps from the first one; it rises from frame to frame.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct Places {
    at: Vec<f64>,
    /// How far the focus went, where the frames don't show even steps.
    paced: Option<Vec<f64>>,
    /// Gaps of which the witness says nothing: frame before, and how many are missing.
    unseen: Vec<(usize, u32)>,
    /// Who says so.
    pub(in crate::sweep) by: Witness,
}

impl Places {
    /// One step from each frame to the next.
    #[must_use]
    pub(in crate::sweep) fn in_order(count: usize) -> Self {
        Self {
            at: (0..count).map(|place| place as f64).collect(),
            paced: None,
            unseen: Vec::new(),
            by: Witness::Order,
        }
    }

    /// Every account of the places that holds together, the most trusted first, the plain order last. `frames` are in
    /// sweep order; `sound[i]` says whether the i-th could be read and counts; `dioptres` are the stated settings.
    #[must_use]
    pub(in crate::sweep) fn accounts(
        frames: &[&FrameInfo],
        sound: &[bool],
        dioptres: &[Option<f64>],
    ) -> Vec<Self> {
        let told = [
            (counted::by_numbers(frames, sound), Witness::Numbers),
            (counted::by_times(frames, sound), Witness::Times),
            (counted::by_distances(dioptres, sound), Witness::Distances),
        ];
        told.into_iter()
            .filter_map(|(at, by)| {
                Some(Self {
                    at: at?,
                    paced: None,
                    unseen: Vec::new(),
                    by,
                })
            })
            .chain([Self::in_order(frames.len())])
            .collect()
    }

    /// Which of some accounts the pictures bear out: the first, unless another makes what runs smoothly through a sweep
    /// so much smoother that it is no chance, and none of it rougher. `series` hold value and standard uncertainty for
    /// each frame; the last one has to gain `last_gains` by itself, in twice the logarithm of a likelihood ratio.
    #[must_use]
    pub(in crate::sweep) fn likeliest(
        accounts: &[Self],
        series: &[Vec<Option<(f64, f64)>>],
        last_gains: f64,
    ) -> usize {
        let Some((first, others)) = accounts.split_first() else {
            return 0;
        };
        if others.iter().all(|other| other.at == first.at) {
            return 0;
        }
        let trusted: Option<Vec<f64>> = series.iter().map(|one| first.unlikely(one)).collect();
        let gain = |account: &Self| account.gain(series, trusted.as_deref()?, last_gains);
        let mut best = (0, 0.0);
        for (k, account) in others.iter().enumerate() {
            let gain = gain(account).unwrap_or(0.0);
            if gain > best.1 {
                best = (k + 1, gain);
            }
        }
        best.0
    }

    /// How much smoother the series are here than where a trusted account puts the frames, the last one first; `None` where that
    /// may be chance.
    fn gain(
        &self,
        series: &[Vec<Option<(f64, f64)>>],
        trusted: &[f64],
        last_gains: f64,
    ) -> Option<f64> {
        let mut least = last_gains.max(-NO_WORSE);
        let mut gain = 0.0;
        for (values, trusted) in series.iter().zip(trusted).rev() {
            let one = trusted - self.unlikely(values)?;
            if one <= least {
                return None;
            }
            gain += one;
            least = -NO_WORSE;
        }
        (gain > SPEAK_AGAINST).then_some(gain)
    }

    /// −2 log likelihood of a series if the frames stand here; `None` where there is too little of it.
    fn unlikely(&self, values: &[Option<(f64, f64)>]) -> Option<f64> {
        smooth::unlikely(values, &|frame| self.at[frame])
    }

    /// The same for some of the frames.
    #[must_use]
    pub(in crate::sweep) fn of(&self, frames: &[usize]) -> Self {
        Self {
            at: frames.iter().map(|&frame| self.at[frame]).collect(),
            paced: self
                .paced
                .as_ref()
                .map(|paced| frames.iter().map(|&frame| paced[frame]).collect()),
            unseen: Vec::new(),
            by: self.by,
        }
    }

    /// The same with so many frames missing after one of them that no witness speaks of.
    #[must_use]
    pub(in crate::sweep) fn opened(&self, frame: usize, missing: u32) -> Self {
        let mut opened = self.clone();
        for place in opened.at.iter_mut().skip(frame + 1) {
            *place += f64::from(missing);
        }
        opened.unseen.push((frame, missing));
        opened
    }

    /// The same with the focus running as `pace` says.
    #[must_use]
    pub(in crate::sweep) fn paced(self, pace: Option<Vec<f64>>) -> Self {
        Self {
            paced: pace,
            ..self
        }
    }

    /// Place of a frame on the axis along which the separation is smooth, in steps of the bracket on average; it never
    /// falls.
    #[must_use]
    pub(in crate::sweep) fn pace(&self, frame: usize) -> f64 {
        self.paced.as_ref().unwrap_or(&self.at)[frame]
    }

    /// Whether the focus ran unevenly through the frames, so that where they stand is known but roughly.
    #[must_use]
    pub(in crate::sweep) fn are_uneven(&self) -> bool {
        self.paced.is_some()
    }

    /// Place of a frame, steps.
    #[must_use]
    pub(in crate::sweep) fn at(&self, frame: usize) -> f64 {
        self.at[frame]
    }

    /// Steps from one frame to another.
    #[must_use]
    pub(in crate::sweep) fn apart(&self, one: usize, other: usize) -> f64 {
        (self.at[other] - self.at[one]).abs()
    }

    /// The same in whole steps, at least one.
    #[must_use]
    pub(in crate::sweep) fn steps(&self, one: usize, other: usize) -> usize {
        (self.apart(one, other).round() as usize).max(1)
    }

    /// Between which frames a place lies, counted in frames from the first.
    #[must_use]
    pub(in crate::sweep) fn frame_at(&self, place: f64) -> f64 {
        let before = self.at.partition_point(|&at| at <= place).saturating_sub(1);
        match (self.at.get(before), self.at.get(before + 1)) {
            (Some(&from), Some(&to)) => before as f64 + ((place - from) / (to - from)).max(0.0),
            _ => before as f64,
        }
    }

    /// How many frames the witness leaves out between a frame and the next.
    #[must_use]
    pub(in crate::sweep) fn missing_after(&self, frame: usize) -> u64 {
        let here = self.unseen.iter().filter(|(before, _)| *before == frame);
        let unseen: u64 = here.map(|(_, missing)| u64::from(*missing)).sum();
        (self.apart(frame, frame + 1).round() as u64).saturating_sub(1 + unseen)
    }
}

/// The middle one of some numbers; `None` for none.
pub(in crate::sweep) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
