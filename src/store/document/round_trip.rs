//! Whatever the core can say goes into a document and comes back the same, to the last bit of every number.

use proptest::collection::{btree_map, vec};
use proptest::prelude::*;
use proptest::{option::of, sample::select};

mod target;

use super::{
    ConditionsDoc, FrameInfoDoc, MeasurementDoc, PublicationDoc, SettingsDoc, decode,
    decode_focal_result, encode, encode_focal_result,
};
use crate::measure::Unmeasurable;
use crate::store::{Conditions, ConditionsKey, FocalResult, StoreError, Switch};
use crate::sweep::{
    Budget, BudgetLine, CaptureTime, Code, CurvePoint, DistanceSource, Finding, FrameInfo,
    FrameOrder, FrameResult, FrameState, Part, Severity, ShiftCurve, Summary, SweepMeasurement,
    SweepSettings, ToleranceOutcome,
};
use crate::units::{FNumber, FocusDistance, Measured, Metres, Millimetres};

fn number() -> impl Strategy<Value = f64> {
    any::<f64>().prop_filter("finite", |number| number.is_finite())
}

fn value() -> impl Strategy<Value = Measured> {
    (number(), number()).prop_map(|(value, std_error)| Measured::new(value, std_error))
}

fn millimetres() -> impl Strategy<Value = Millimetres> {
    (0.001..=100_000.0).prop_map(|mm| Millimetres::new(mm).expect("in range"))
}

fn metres() -> impl Strategy<Value = Metres> {
    (0.001..=100_000.0).prop_map(|m| Metres::new(m).expect("in range"))
}

fn f_number() -> impl Strategy<Value = FNumber> {
    (0.3..=256.0).prop_map(|n| FNumber::new(n).expect("in range"))
}

fn focus_distance() -> impl Strategy<Value = FocusDistance> {
    prop_oneof![
        Just(FocusDistance::Infinity),
        metres().prop_map(FocusDistance::At)
    ]
}

fn text() -> impl Strategy<Value = String> {
    "\\PC{0,12}|[\"\\\\\u{0}\n]{1,4}"
}

fn capture_time() -> impl Strategy<Value = CaptureTime> {
    let local = (
        1..=9999_i32,
        1..=365_u16,
        0..86_400_u32,
        0..1_000_000_000_u32,
    );
    (local, of(-86_399..=86_399_i32)).prop_map(|((year, day, second, nanosecond), offset)| {
        let date = time::Date::from_ordinal_date(year, day).expect("a day of every year");
        let (hour, minute, second) = (second / 3600, second / 60 % 60, second % 60);
        let small = |number: u32| u8::try_from(number).expect("below 60");
        let clock =
            time::Time::from_hms_nano(small(hour), small(minute), small(second), nanosecond);
        CaptureTime {
            local: date.with_time(clock.expect("a time of day")),
            offset: offset.map(|s| time::UtcOffset::from_whole_seconds(s).expect("within a day")),
        }
    })
}

fn frame_info() -> impl Strategy<Value = FrameInfo> {
    (
        (text(), text(), of(capture_time())),
        (of(millimetres()), of(millimetres()), of(f_number())),
        (of(text()), of(text()), of(focus_distance())),
    )
        .prop_map(|(a, b, c)| FrameInfo {
            file: a.0,
            folder: a.1,
            captured_at: a.2,
            focal_length: b.0,
            focal_length_35mm: b.1,
            f_number: b.2,
            lens: c.0,
            camera: c.1,
            focus_distance: c.2,
        })
}

fn unmeasurable() -> impl Strategy<Value = Unmeasurable> {
    prop_oneof![
        text().prop_map(Unmeasurable::Undecodable),
        Just(Unmeasurable::NoTargets),
        Just(Unmeasurable::OneTarget),
        Just(Unmeasurable::Clipped),
        Just(Unmeasurable::Overlapping),
        Just(Unmeasurable::TooFaint),
        Just(Unmeasurable::PartlyCovered),
        Just(Unmeasurable::RunTogether),
        Just(Unmeasurable::DisagreesWithNeighbours),
        any::<(u32, u32, u32, u32)>().prop_map(|(found_width, found_height, width, height)| {
            Unmeasurable::OtherSize {
                found_width,
                found_height,
                width,
                height,
            }
        }),
        text().prop_map(Unmeasurable::Fault),
    ]
}

fn frame() -> impl Strategy<Value = FrameResult> {
    let state = prop_oneof![
        Just(FrameState::Measured),
        text().prop_map(FrameState::LeftOut),
        unmeasurable().prop_map(FrameState::Failed),
    ];
    (
        (frame_info(), state, number()),
        (of(value()), of(value()), of(value())),
        vec(target::target(), 0..3),
        vec(of(number()), 0..3),
    )
        .prop_map(|(head, values, targets, blur_px)| FrameResult {
            info: head.0,
            state: head.1,
            travel: head.2,
            focus_dioptres: values.0,
            separation_px: values.1,
            shift_pct: values.2,
            targets,
            blur_px,
        })
}

fn curve() -> impl Strategy<Value = ShiftCurve> {
    let point =
        (number(), of(value()), value()).prop_map(|(travel, dioptres, shift_pct)| CurvePoint {
            travel,
            dioptres,
            shift_pct,
        });
    vec(point, 0..4).prop_map(ShiftCurve::new)
}

fn findings() -> impl Strategy<Value = Vec<Finding>> {
    let severity = select(&[Severity::Note, Severity::Warning, Severity::Stop][..]);
    let finding = (select(Code::ALL), severity, text(), vec(text(), 0..3));
    vec(
        finding.prop_map(|(code, severity, message, files)| Finding {
            code,
            severity,
            message,
            files,
        }),
        0..3,
    )
}

fn budget() -> impl Strategy<Value = Budget> {
    let line = || (select(Part::ALL), number()).prop_map(|(part, pct)| BudgetLine { part, pct });
    (vec(line(), 0..2), vec(line(), 0..2))
        .prop_map(|(random, systematic)| Budget { random, systematic })
}

prop_compose! {
    fn measurement()(
        frames in vec(frame(), 1..4),
        texts in (text(), of(text()), of(text())),
        optics in (of(millimetres()), of(f_number()), of(metres()), of(capture_time())),
        size in of(any::<(u32, u32)>()),
        source in select(&DistanceSource::ALL[..]),
        findings in findings(),
        verdict in of((any::<prop::sample::Index>(), any::<prop::sample::Index>(), value(), any::<bool>(), curve(), budget())),
    ) -> SweepMeasurement {
        let count = frames.len();
        SweepMeasurement {
            name: texts.0,
            focal_length: optics.0,
            f_number: optics.1,
            camera: texts.1,
            lens: texts.2,
            captured_at: optics.3,
            picture_size_px: size,
            frames,
            summary: verdict.map(|(reference, worst, worst_shift_pct, relative_to_farthest, curve, budget)| Summary {
                reference: reference.index(count),
                worst: worst.index(count),
                worst_shift_pct,
                relative_to_farthest,
                curve,
                budget,
            }),
            distance_source: source,
            closest_focus: optics.2,
            findings,
        }
    }
}

fn conditions() -> impl Strategy<Value = Conditions> {
    let switch = || select(&Switch::ALL[..]);
    (switch(), switch(), switch(), of(metres()), of(metres())).prop_map(
        |(correction, compensation, stabilisation, target_distance, closest_focus)| Conditions {
            distortion_correction: correction,
            breathing_compensation: compensation,
            stabilisation,
            target_distance,
            closest_focus,
        },
    )
}

fn settings() -> impl Strategy<Value = SweepSettings> {
    (
        (of(metres()), of(metres()), of(millimetres())),
        (of(f_number()), of(millimetres()), any::<bool>(), of(text())),
        select(&FrameOrder::ALL[..]),
        btree_map(text(), focus_distance(), 0..3),
        btree_map(text(), text(), 0..3),
        btree_map(text(), vec((number(), number()), 0..3), 0..3),
    )
        .prop_map(
            |(a, b, order, distances, left_out, pointed_at)| SweepSettings {
                target_distance: a.0,
                closest_focus: a.1,
                focal_length: a.2,
                f_number: b.0,
                sensor_width: b.1,
                last_not_at_infinity: b.2,
                camera: b.3,
                order,
                distances,
                left_out,
                pointed_at,
            },
        )
}

fn focal_result() -> impl Strategy<Value = FocalResult> {
    let tolerance = prop_oneof![
        Just(ToleranceOutcome::Within),
        (value(), number())
            .prop_map(|(dioptres, travel)| ToleranceOutcome::Exceeded { dioptres, travel }),
        number().prop_map(|travel| ToleranceOutcome::Unknown { travel }),
    ];
    (
        (
            conditions(),
            number(),
            (
                vec(any::<i64>(), 0..3),
                vec(any::<i64>(), 0..2),
                vec(any::<i64>(), 0..2),
            ),
            value(),
            tolerance,
        ),
        (curve(), select(&DistanceSource::ALL[..]), findings()),
        (
            of(number()),
            of(number()),
            of(number()),
            of(any::<u32>()),
            of(number()),
        ),
        (any::<bool>(), any::<bool>(), any::<u32>(), of(text())),
        (
            vec(text(), 0..3),
            vec(text(), 0..3),
            budget(),
            vec(number(), 0..3),
            vec(text(), 0..3),
        ),
    )
        .prop_map(|(head, course, optics, rest, lists)| FocalResult {
            conditions: ConditionsKey {
                distortion_correction: head.0.distortion_correction,
                breathing_compensation: head.0.breathing_compensation,
            },
            focal_length_mm: head.1,
            sweeps: head.2.0,
            same_pictures: head.2.1,
            partial: head.2.2,
            worst_shift_pct: head.3,
            systematic: lists.2.systematic,
            tolerance: head.4,
            curve: course.0,
            distance_source: course.1,
            findings: course.2,
            closest_focus_m: optics.0,
            f_number: optics.1,
            target_distance_m: optics.2,
            picture_width_px: optics.3,
            sensor_width_mm: optics.4,
            repeats_disagree: rest.0,
            relative_to_farthest: rest.1,
            algorithm_version: rest.2,
            camera: rest.3,
            reviewers: lists.0,
            captured_at: lists.1,
            f_numbers: lists.3,
            cameras: lists.4,
        })
}

proptest! {
    // Enough to meet every variant many times; a case is some 20 values deep.
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn measurements_come_back(measurement in measurement()) {
        let text = encode(&MeasurementDoc::of(&measurement)).expect("finite numbers");
        let back = decode::<MeasurementDoc>(&text).and_then(MeasurementDoc::read);
        prop_assert_eq!(back.expect("just written"), measurement);
    }

    #[test]
    fn frames_come_back(info in frame_info()) {
        let text = encode(&FrameInfoDoc::of(&info)).expect("finite numbers");
        let back = decode::<FrameInfoDoc>(&text).and_then(FrameInfoDoc::read);
        prop_assert_eq!(back.expect("just written"), info);
    }

    #[test]
    fn publications_come_back(conditions in conditions(), settings in settings(), notes in text(), result in focal_result()) {
        let document = PublicationDoc::new(ConditionsDoc::of(&conditions), SettingsDoc::of(&settings), notes.clone(), &result);
        let text = encode(&document).expect("finite numbers");
        let back: PublicationDoc = decode(&text).expect("just written");
        prop_assert_eq!(&back.notes, &notes);
        let back = (back.conditions.read().expect("in range"), back.settings.read().expect("in range"));
        prop_assert_eq!(back, (conditions, settings));
        let alone = encode_focal_result(&result).expect("finite numbers");
        prop_assert_eq!(decode_focal_result(&alone).expect("just written"), result);
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,40}|\\{\"name\":.{0,30}\\}") {
        prop_assert!(matches!(decode::<MeasurementDoc>(&text).and_then(MeasurementDoc::read), Err(StoreError::Damaged(_))));
    }
}
