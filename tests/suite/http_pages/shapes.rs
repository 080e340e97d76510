//! The sheet of a lens is one page whatever the lens: a table of shapes, printed on A4 and on Letter.

use breathmark::store::{Conditions, Lens, Switch};
use breathmark::sweep::{BudgetLine, Code, Finding, Part, Severity, SweepMeasurement};
use breathmark::units::FNumber;

use super::reading::served;
use super::sheets::{A4, LETTER, PAPER_PX, PORTRAIT, pages_on, widest_on_paper};
use super::site::{Site, curve, off, with_finding, without_distances};
use crate::support::browser::Browser;

/// What makes a sheet long.
#[derive(Debug, Clone, Copy)]
struct Shape {
    /// Sets of conditions, up to nine.
    sets: usize,
    /// Focal lengths under each.
    focal_lengths: usize,
    /// Warnings of each sweep.
    warnings: usize,
    /// Sweeps of each focal length.
    repeats: usize,
    /// Whether sweeps differ in camera, aperture and whether they reach infinity.
    mixed: bool,
    /// Whether names are long.
    long_names: bool,
}

/// The marks of lenses, mm.
const MARKS: [f64; 12] = [
    18.0, 24.0, 28.0, 35.0, 40.0, 50.0, 70.0, 85.0, 100.0, 135.0, 150.0, 200.0,
];

/// Every combination of what a camera corrects.
fn conditions(set: usize) -> Conditions {
    const SWITCHES: [Switch; 3] = [Switch::Off, Switch::On, Switch::Unknown];
    Conditions {
        distortion_correction: SWITCHES[set % 3],
        breathing_compensation: SWITCHES[set / 3 % 3],
        ..off()
    }
}

fn sweep(shape: Shape, set: usize, at: usize, repeat: usize) -> SweepMeasurement {
    let (focal, part) = (MARKS[at], 1.0 / (set + 1) as f64);
    let worst = (-2.5 + at as f64) * part + 0.004 * repeat as f64;
    let mut sweep = curve(focal, worst, 0.4);
    for warning in 0..shape.warnings {
        sweep = with_finding(
            sweep,
            Finding {
                code: [Code::CameraMoved, Code::TargetClipped, Code::UnevenExposure][warning % 3],
                severity: Severity::Warning,
                message: format!(
                    "the mid-point of the targets jumps by {} px at SWP_0007.JPG, and comes back at SWP_0011.JPG",
                    3 + warning
                ),
                files: vec!["SWP_0007.JPG".to_owned()],
            },
        );
    }
    if shape.mixed && at % 2 == 1 {
        sweep.camera = Some("Ostrel Bench 7 with the long name of its edition".to_owned());
        sweep.f_number = FNumber::new(8.0).ok();
        sweep = match at % 4 {
            1 => sweep,
            _ => without_distances(sweep),
        };
    }
    if let Some(summary) = &mut sweep.summary {
        summary.relative_to_farthest = shape.mixed && at % 3 == 2;
        // Beside infinity a little is lacking at most.
        let lacks = if summary.relative_to_farthest {
            -0.16
        } else {
            -0.006
        };
        let bounds = [
            (Part::EntrancePupil, 0.93),
            (Part::ReferenceNotAtInfinity, lacks),
        ];
        summary.budget.systematic = bounds.map(|(part, pct)| BudgetLine { part, pct }).to_vec();
    }
    sweep
}

async fn filled(site: &Site, number: usize, shape: Shape) -> Lens {
    let model = match shape.long_names {
        true => format!(
            "Harbour Traveller Aspherical Anniversary Edition {number} 18-200 f/3.5-5.6 Macro II"
        ),
        false => format!("Harbour {number}"),
    };
    let range = (MARKS[0], MARKS[shape.focal_lengths - 1]);
    let lens = site.lens("Tindra", &model, range).await;
    for set in 0..shape.sets {
        for at in 0..shape.focal_lengths {
            for repeat in 0..shape.repeats {
                site.publish(&lens, &conditions(set), sweep(shape, set, at, repeat))
                    .await;
            }
        }
    }
    lens
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_sheet_of_every_lens_is_one_page() {
    let plain = Shape {
        sets: 1,
        focal_lengths: 1,
        warnings: 0,
        repeats: 1,
        mixed: false,
        long_names: false,
    };
    let full = Shape {
        warnings: 3,
        repeats: 2,
        mixed: true,
        long_names: true,
        ..plain
    };
    let site = Site::new().await;
    let at = served(&site).await;
    let browser = Browser::open(PORTRAIT.0, PORTRAIT.1, false).await;
    // Sets of conditions, focal lengths, and how much of a plain lens is on its sheet: how many sets, and whether all of each.
    for (number, (sets, focal_lengths, printed, whole)) in [
        (1, 1, 1, true),
        (1, 6, 1, true),
        (1, 12, 1, true),
        (2, 1, 2, true),
        (2, 3, 2, true),
        (3, 1, 2, true),
        (3, 4, 1, true),
        (5, 2, 2, true),
        (4, 12, 1, false),
    ]
    .into_iter()
    .enumerate()
    {
        for kind in [plain, full] {
            let shape = Shape {
                sets,
                focal_lengths,
                ..kind
            };
            let lens = filled(&site, number, shape).await;
            for pull in ["", "?from_m=3&to_m=1"] {
                let address = format!("{at}/lenses/{}{pull}", lens.slug);
                browser.go(&address).await;
                for (name, paper) in [("A4", A4), ("Letter", LETTER)] {
                    let pages = pages_on(&browser, paper).await;
                    assert_eq!(pages, 1, "{name}: {shape:?} {pull}");
                }
                let widest = widest_on_paper(&browser).await;
                assert!(widest <= PAPER_PX + 1.0, "{shape:?} {pull}: {widest} px");
                if kind.warnings == 0 && pull.is_empty() {
                    let page = site.get(&format!("/lenses/{}", lens.slug)).await.text();
                    let sections = page.matches("<section class=\"conditions").count()
                        + page.matches("<section class=\"record").count();
                    let left_to_the_address =
                        page.matches("<section class=\"record no-print").count()
                            + page.matches("<section class=\"conditions no-print").count();
                    assert_eq!(sections, sets, "{shape:?}");
                    assert_eq!(sections - left_to_the_address, printed, "{shape:?}");
                    assert_eq!(!page.contains("leaves-noticed"), whole, "{shape:?}");
                    let elsewhere =
                        format!("stands at https://lens.example/lenses/{}.</p>", lens.slug);
                    assert_eq!(page.contains(&elsewhere), printed < sets, "{shape:?}");
                }
            }
        }
    }
    browser.close().await;
}

/// What is left out of a sheet is named on it, with where it stands.
#[tokio::test]
async fn a_sheet_says_what_it_has_no_room_for() {
    let site = Site::new().await;
    let crowded = Shape {
        sets: 2,
        focal_lengths: 12,
        warnings: 3,
        repeats: 2,
        mixed: true,
        long_names: true,
    };
    let lens = filled(&site, 1, crowded).await;
    let page = site
        .get(&format!("/lenses/{}?from_m=3&to_m=1", lens.slug))
        .await;
    let page = page.text().replace('\u{a0}', " ");
    for class in ["leaves-noticed", "leaves-details", "leaves-chart"] {
        assert!(page.contains(class), "{class}");
    }
    let named = page.split("<p class=\"print-only small-in-print\">").nth(1);
    let named = named
        .and_then(|rest| rest.split("</p>").next())
        .expect("said");
    for words in [
        "The chart",
        "what was noticed",
        "how each was measured",
        &lens.slug,
    ] {
        assert!(
            named.to_lowercase().contains(&words.to_lowercase()),
            "{words}: {named}"
        );
    }
    // On the screen all of it is there.
    assert_eq!(page.matches("What was noticed</h3>").count(), 2);
    assert_eq!(page.matches("<figure class=\"chart\"").count(), 2);
}
