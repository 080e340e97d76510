//! The measuring itself: frames from the originals into `sweep::measure_runs`, on threads of their own.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

use crate::intake::{self, IntakeError, Limits, Originals};
use crate::measure::{Plane, Unmeasurable};
use crate::store::SweepInput;
use crate::sweep::{self, SweepMeasurement};

/// What the measuring threads and the one who waits for them tell each other.
#[derive(Debug, Default)]
pub(super) struct Course {
    dropped: AtomicBool,
    done: AtomicUsize,
    fault: OnceLock<Fault>,
}

/// An original that could not be read.
#[derive(Debug, Clone)]
pub(super) struct Fault {
    /// Which one, and what the system said.
    pub(super) words: String,
    /// No other one could be read either.
    pub(super) is_of_all: bool,
}

impl Course {
    /// No frame is read from now on; what comes out is to be thrown away.
    pub(super) fn drop_work(&self) {
        self.dropped.store(true, Ordering::Relaxed);
    }

    pub(super) fn is_dropped(&self) -> bool {
        self.dropped.load(Ordering::Relaxed)
    }

    /// The disk failed: nothing that is measured now can be trusted.
    fn fail(&self, fault: Fault) {
        // The first fault is the one to be told.
        let _ = self.fault.set(fault);
        self.drop_work();
    }

    /// Frames done so far.
    pub(super) fn done(&self) -> usize {
        self.done.load(Ordering::Relaxed)
    }

    pub(super) fn note(&self, done: usize) {
        self.done.fetch_max(done, Ordering::Relaxed);
    }

    /// What the disk said, where it failed.
    pub(super) fn fault(&self) -> Option<&Fault> {
        self.fault.get()
    }
}

/// A measurement, and the runs through the focus that it found, as indices of frames.
pub(super) type Outcome = (SweepMeasurement, Vec<Vec<usize>>);

/// Measuring with frames from the originals, on these threads. A picture that can't be read is a frame without a result;
/// a disk that can't be read fails the course.
pub(super) fn with_originals(
    originals: Originals,
    limits: Limits,
    threads: Arc<rayon::ThreadPool>,
) -> impl FnOnce(&SweepInput, &Course) -> Outcome + Send + 'static {
    move |input, course| {
        let load = |index: usize| load(&originals, &limits, input, course, index);
        let infos: Vec<_> = input
            .frames
            .iter()
            .map(|frame| frame.info.clone())
            .collect();
        let progress = |done: usize, _: usize| course.note(done);
        threads
            .install(|| sweep::measure_runs(&input.name, &infos, &load, &input.settings, &progress))
    }
}

fn load(
    originals: &Originals,
    limits: &Limits,
    input: &SweepInput,
    course: &Course,
    index: usize,
) -> Result<Plane, Unmeasurable> {
    if course.is_dropped() {
        return Err(Unmeasurable::Fault(
            "the measurement was dropped".to_owned(),
        ));
    }
    let frame = input
        .frames
        .get(index)
        .ok_or_else(|| Unmeasurable::Fault(format!("there is no frame {index}")))?;
    originals
        .read(&frame.sha256)
        .and_then(|bytes| intake::decode_plane(&bytes, limits))
        .map_err(|error| {
            if let IntakeError::Io(cause) = &error {
                course.fail(Fault {
                    words: format!(
                        "the original of {} ({}) could not be read: {cause}",
                        frame.info.file, frame.sha256
                    ),
                    is_of_all: originals.are_away(),
                });
            }
            Unmeasurable::Undecodable(error.to_string())
        })
}
