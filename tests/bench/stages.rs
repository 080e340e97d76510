//! Where the time of a sweep goes: `cargo bench --bench stages -- [width in px…]`.
//!
//! Each stage is timed by itself on one thread, in processor time where the system tells it, on frames that were rendered before: reading the bytes into luma,
//! finding and centring the targets, and what comes after all frames (tracking, curve, verdict, findings). Nothing is
//! asserted; `speed.py` beside it compares whole processes.

use std::hint::black_box;
use std::time::{Duration, Instant};

use breathmark::intake::{self, Limits};
use breathmark::measure::{self, Plane};
use breathmark::simulate::{Scene, SweepScript};
use breathmark::sweep::{self, FrameInfo, SweepSettings};

/// Widths of the pictures, px, and how many frames are rendered of each.
const SIZES: [(u32, usize); 3] = [(1920, 24), (3000, 16), (6000, 8)];
/// Times that each stage is run; the shortest counts, because other programs only add.
const ROUNDS: usize = 5;

fn main() {
    let wanted: Vec<u32> = std::env::args()
        .skip(1)
        .filter_map(|w| w.parse().ok())
        .collect();
    // One thread, so that the stages add up.
    let threads = rayon::ThreadPoolBuilder::new().num_threads(1).build();
    let threads = threads.expect("a thread of our own");
    println!("      picture   kB a file   decode   targets     sweep   (ms a frame on one core)");
    for (width, frames) in SIZES {
        if wanted.is_empty() || wanted.contains(&width) {
            threads.install(|| report(width, frames));
        }
    }
}

fn report(width: u32, frames: usize) {
    let mut script = SweepScript::plain(85.0, 2.05, frames);
    script.scene = Scene::two_targets(width, width / 3 * 2);
    let files: Vec<Vec<u8>> = (0..frames)
        .map(|frame| script.jpeg(frame).expect("the scene fits JPEG"))
        .collect();
    let limits = Limits::default();
    let infos: Vec<FrameInfo> = (0..frames)
        .map(|frame| {
            intake::inspect(&files[frame], &script.file_name(frame), &limits)
                .expect("a file of our own is readable")
        })
        .collect();
    let decode = || -> Vec<Plane> {
        let read = files
            .iter()
            .map(|bytes| intake::decode_plane(bytes, &limits));
        read.collect::<Result<_, _>>().expect("a picture")
    };
    let planes = decode();
    let find = || {
        planes
            .iter()
            .map(|plane| measure::candidates(plane).len())
            .sum::<usize>()
    };
    // Loading from memory copies each plane, which is timed with it and taken off below.
    let whole = || {
        let load = |frame: usize| Ok(planes[frame].clone());
        sweep::measure(
            "sweep",
            &infos,
            &load,
            &SweepSettings::default(),
            &|_, _| {},
        )
    };
    let copy = || {
        planes
            .iter()
            .for_each(|plane| drop(black_box(plane.clone())))
    };
    let per_frame = |seconds: f64| 1000.0 * seconds / frames as f64;
    let (decode, find) = (per_frame(shortest(decode)), per_frame(shortest(find)));
    let rest = per_frame(shortest(whole)) - per_frame(shortest(copy)) - find;
    let bytes: usize = files.iter().map(Vec::len).sum();
    println!(
        "{:>13}   {:9}   {decode:6.2}   {find:7.2}   {:7.2}",
        format!("{width}×{}", width / 3 * 2),
        bytes / frames / 1000,
        rest.max(0.0),
    );
}

/// The shortest of some runs, s.
fn shortest<T>(work: impl Fn() -> T) -> f64 {
    (0..ROUNDS)
        .map(|_| {
            let started = Clock::now();
            let made = work();
            let taken = started.elapsed();
            drop(made);
            taken.as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

/// Processor time of this thread where the system tells it (Linux), else the time on the wall.
enum Clock {
    Processor(Duration),
    Wall(Instant),
}

impl Clock {
    fn now() -> Self {
        processor_time().map_or_else(|| Self::Wall(Instant::now()), Self::Processor)
    }

    fn elapsed(&self) -> Duration {
        match self {
            Self::Processor(started) => processor_time()
                .unwrap_or_default()
                .saturating_sub(*started),
            Self::Wall(started) => started.elapsed(),
        }
    }
}

/// The first number of `schedstat` is the time that the thread ran, ns.
fn processor_time() -> Option<Duration> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split(' ')
        .next()?
        .parse()
        .ok()
        .map(Duration::from_nanos)
}
